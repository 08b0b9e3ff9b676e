//! JPEG (ITU-T T.81) in a JFIF (T.871) or EXIF file.

use image::metadata::Orientation;
use zune_core::{bytestream::ZCursor, colorspace::ColorSpace, options::DecoderOptions};
use zune_jpeg::{JpegDecoder, errors::DecodeErrors};

use super::{
    Colour, Picture, check_size, cmyk, damaged,
    exif::{Exif, per_inch},
    grey, not_rgb, odd_compression,
};
use crate::{Error, Result, scan::Pixels};

pub(super) fn read(bytes: &[u8]) -> Result<Picture> {
    let segments = Segments::read(bytes);
    let options = DecoderOptions::default()
        // Otherwise what is missing is filled up with grey.
        .set_strict_mode(true)
        // The limit on pixels is ours.
        .set_max_width(usize::MAX)
        .set_max_height(usize::MAX)
        .jpeg_set_out_colorspace(ColorSpace::RGB);
    // Bytes of its own here and below, as TIFF has them for its strips: one decoder in the page instead of three.
    let mut decoder = JpegDecoder::new_with_options(ZCursor::new(bytes.to_vec()), options);
    decoder.decode_headers().map_err(error)?;
    let (width, height) = decoder.dimensions().ok_or_else(|| damaged("no size"))?;
    match decoder.input_colorspace() {
        Some(ColorSpace::YCbCr | ColorSpace::RGB) => {}
        Some(ColorSpace::Luma | ColorSpace::LumaA) => return Err(grey()),
        Some(ColorSpace::CMYK | ColorSpace::YCCK) => return Err(cmyk()),
        _ => return Err(not_rgb()),
    }
    let count = check_size(width as u64, height as u64, 8)?;
    let end = segments
        .end
        .ok_or_else(|| damaged("no end-of-image marker"))?;
    if !segments.complete() {
        return Err(damaged("some scans of the picture are missing"));
    }
    let mut values = vec![0; 3 * count];
    if segments.scans == 1 {
        // The decoder fills up with grey where it meets the end marker early, but not where the data just stop. So it is
        // given the data without their end, and enough zeros to look ahead into.
        let data = [&bytes[..end], &[0; 16]].concat();
        JpegDecoder::new_with_options(ZCursor::new(data), options)
            .decode_into(&mut values)
            .map_err(error)?;
    } else {
        decoder.decode_into(&mut values).map_err(error)?;
    }

    let exif = decoder.exif().and_then(|bytes| Exif::new(bytes));
    let colour = match decoder.icc_profile() {
        Some(icc) => Colour::Icc(icc),
        None if segments.has_profile => Colour::BrokenIcc,
        None if exif.as_ref().is_some_and(Exif::srgb) => Colour::Srgb,
        None => Colour::Unsaid,
    };
    Ok(Picture {
        width,
        height,
        pixels: Pixels::Eight(values),
        colour,
        resolution: segments
            .resolution
            .or(exif.as_ref().and_then(Exif::resolution)),
        camera: exif.as_ref().is_some_and(Exif::camera),
        orientation: exif.map_or(Orientation::NoTransforms, |exif| exif.orientation()),
        notes: Vec::new(),
    })
}

fn error(error: DecodeErrors) -> Error {
    match error {
        DecodeErrors::Unsupported(_) => odd_compression(),
        error => damaged(error),
    }
}

/// What the decoder does not tell of a file's segments (ITU-T T.81, annex B).
#[derive(Default)]
struct Segments {
    /// Where the end-of-image marker of the first picture stands.
    end: Option<usize>,
    /// Whether there is any part of an ICC profile.
    has_profile: bool,
    /// Pixels an inch, from JFIF.
    resolution: Option<[f64; 2]>,
    /// Components of the frame, in its order.
    components: Vec<Component>,
    /// Scans that were begun.
    scans: usize,
}

/// How far a component's coefficients have come.
struct Component {
    name: u8,
    /// Bits still missing of every coefficient; all of them before the first scan.
    missing: [u8; 64],
}

impl Segments {
    fn read(bytes: &[u8]) -> Self {
        let mut seen = Self::default();
        let mut at = 2;
        while let Some(after) = next_marker(bytes, at) {
            let marker = bytes[after - 1];
            match marker {
                0xD9 => {
                    seen.end = Some(after - 2);
                    break;
                }
                // Markers without a segment.
                0x01 | 0xD0..=0xD7 => {
                    at = after;
                    continue;
                }
                _ => {}
            }
            let Some(&length) = bytes.get(after..).and_then(|rest| rest.first_chunk::<2>()) else {
                break;
            };
            at = after + usize::from(u16::from_be_bytes(length)).max(2);
            let Some(segment) = bytes.get(after + 2..at) else {
                break;
            };
            match marker {
                0xC0..=0xC2 => seen.frame(segment),
                0xDA => seen.scan(segment),
                0xE0 => seen.resolution = seen.resolution.or_else(|| jfif_resolution(segment)),
                0xE2 => seen.has_profile |= segment.starts_with(b"ICC_PROFILE\0"),
                _ => {}
            }
        }
        seen
    }

    /// T.81, B.2.2: five bytes of depth and size, the number of components, three bytes of each.
    fn frame(&mut self, segment: &[u8]) {
        let names = segment
            .get(6..)
            .unwrap_or_default()
            .chunks_exact(3)
            .map(|component| component[0]);
        self.components = names
            .map(|name| Component {
                name,
                missing: [u8::MAX; 64],
            })
            .collect();
    }

    /// T.81, B.2.3: the number of components, two bytes of each, first and last coefficient, and how many bits are
    /// left to a later scan (none, and all coefficients, where the coding is not progressive).
    fn scan(&mut self, segment: &[u8]) {
        self.scans += 1;
        let Some((&count, rest)) = segment.split_first() else {
            return;
        };
        let Some((names, &[first, last, bits])) = rest
            .split_at_checked(2 * usize::from(count))
            .and_then(|(names, rest)| Some((names, rest.first_chunk::<3>()?)))
        else {
            return;
        };
        for name in names.chunks_exact(2).map(|pair| pair[0]) {
            for component in self
                .components
                .iter_mut()
                .filter(|component| component.name == name)
            {
                let last = usize::from(last).min(63);
                if let Some(range) = component.missing.get_mut(usize::from(first)..=last) {
                    range.fill(bits & 0x0F);
                }
            }
        }
    }

    /// Whether every coefficient of every component was sent to its last bit.
    fn complete(&self) -> bool {
        self.components
            .iter()
            .all(|component| component.missing.iter().all(|&bits| bits == 0))
    }
}

/// The place after the next marker: two bytes, the first 0xFF and the second neither 0 (a stuffed 0xFF of the picture
/// data) nor 0xFF (a fill byte). Restart markers inside the picture data are markers too.
fn next_marker(bytes: &[u8], mut at: usize) -> Option<usize> {
    loop {
        at += bytes.get(at..)?.iter().position(|&byte| byte == 0xFF)?;
        match bytes.get(at + 1)? {
            0x00 => at += 2,
            0xFF => at += 1,
            _ => return Some(at + 2),
        }
    }
}

/// T.871, 10.1: the name, two bytes of version, the unit, density across and down.
fn jfif_resolution(segment: &[u8]) -> Option<[f64; 2]> {
    let density = segment.strip_prefix(b"JFIF\0")?.get(2..7)?;
    let number = |i: usize| f64::from(u16::from_be_bytes([density[i], density[i + 1]]));
    // 1 is the inch and 2 the centimetre, one less than in TIFF; 0 means a ratio of sides only.
    per_inch(number(1), number(3), u16::from(density[0]) + 1)
}
