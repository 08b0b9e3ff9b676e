//! The few entries of EXIF metadata that matter to a scan (CIPA DC-008, 4.6).

use image::metadata::Orientation;

/// Entries of an EXIF block.
pub(super) struct Exif<'a> {
    bytes: &'a [u8],
    big_endian: bool,
}

const RESOLUTION_ACROSS: u16 = 0x011A;
const RESOLUTION_DOWN: u16 = 0x011B;
const RESOLUTION_UNIT: u16 = 0x0128;
const EXIF_DIRECTORY: u16 = 0x8769;
const COLOUR_SPACE: u16 = 0xA001;
const EXPOSURE_TIME: u16 = 0x829A;

impl<'a> Exif<'a> {
    /// A block that begins with the TIFF header.
    pub(super) fn new(bytes: &'a [u8]) -> Option<Self> {
        match bytes {
            [b'I', b'I', 42, 0, ..] => Some(Self {
                bytes,
                big_endian: false,
            }),
            [b'M', b'M', 0, 42, ..] => Some(Self {
                bytes,
                big_endian: true,
            }),
            _ => None,
        }
    }

    pub(super) fn orientation(&self) -> Orientation {
        Orientation::from_exif_chunk(self.bytes).unwrap_or(Orientation::NoTransforms)
    }

    /// Pixels an inch, across and down. 72 is what a camera writes that does not know (CIPA DC-008, XResolution).
    pub(super) fn resolution(&self) -> Option<[f64; 2]> {
        let directory = self.long(4)?;
        let across = self.number(directory, RESOLUTION_ACROSS)?;
        let down = self.number(directory, RESOLUTION_DOWN)?;
        let unit = self.number(directory, RESOLUTION_UNIT).unwrap_or(2.0);
        per_inch(across, down, unit as u16).filter(|&[across, _]| across != 72.0)
    }

    /// Whether the colours are said to be sRGB.
    pub(super) fn srgb(&self) -> bool {
        self.of_picture(COLOUR_SPACE) == Some(1.0)
    }

    /// Whether a shutter was open for a time, as only a camera's is.
    pub(super) fn camera(&self) -> bool {
        self.of_picture(EXPOSURE_TIME).is_some()
    }

    /// The number of an entry of the EXIF directory, which the first one points to.
    fn of_picture(&self, tag: u16) -> Option<f64> {
        let directory = self.number(self.long(4)?, EXIF_DIRECTORY)?;
        self.number(directory as u32, tag)
    }

    /// The number of an entry of type SHORT, LONG or RATIONAL.
    fn number(&self, directory: u32, tag: u16) -> Option<f64> {
        let directory = directory as usize;
        let entries = usize::from(self.short(directory)?);
        let entry = (0..entries)
            .map(|i| directory + 2 + 12 * i)
            .find(|&at| self.short(at) == Some(tag))?;
        match self.short(entry + 2)? {
            3 => self.short(entry + 8).map(f64::from),
            4 => self.long(entry + 8).map(f64::from),
            5 => {
                let at = self.long(entry + 8)? as usize;
                let (above, below) = (self.long(at)?, self.long(at.checked_add(4)?)?);
                (below != 0).then(|| f64::from(above) / f64::from(below))
            }
            _ => None,
        }
    }

    fn short(&self, at: usize) -> Option<u16> {
        let bytes: [u8; 2] = self.bytes.get(at..at.checked_add(2)?)?.try_into().ok()?;
        Some(if self.big_endian {
            u16::from_be_bytes(bytes)
        } else {
            u16::from_le_bytes(bytes)
        })
    }

    fn long(&self, at: usize) -> Option<u32> {
        let bytes: [u8; 4] = self.bytes.get(at..at.checked_add(4)?)?.try_into().ok()?;
        Some(if self.big_endian {
            u32::from_be_bytes(bytes)
        } else {
            u32::from_le_bytes(bytes)
        })
    }
}

/// Resolution in a unit of TIFF 6.0: 2 is the inch, 3 the centimetre.
pub(super) fn per_inch(across: f64, down: f64, unit: u16) -> Option<[f64; 2]> {
    match unit {
        2 => Some([across, down]),
        3 => Some([2.54 * across, 2.54 * down]),
        _ => None,
    }
}
