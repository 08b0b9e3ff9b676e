//! A scan as the scanner wrote it: an upright picture at full depth, and how its numbers become colours.

pub mod decode;
pub mod profile;

pub use profile::Profile;

/// Pixels of an upright picture, three interleaved channels (R, G, B), rows from the top, at the file's own depth.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Pixels {
    /// 8 bits a channel.
    Eight(Vec<u8>),
    /// 16 bits a channel.
    Sixteen(Vec<u16>),
}

/// What the file said of itself and what was assumed; kept with the paint as its provenance.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Origin {
    /// File name without folders, as given.
    pub file_name: String,
    /// `PNG`, `JPEG` or `TIFF`.
    pub format: &'static str,
    /// Bits a channel: 8 or 16.
    pub depth: u8,
    /// The profile's own description, or why there is none: `none: sRGB assumed`, `damaged: sRGB assumed`, ...
    pub profile: String,
    /// Whether the file carried no usable profile and sRGB was assumed.
    pub profile_assumed: bool,
    /// The file's resolution tag in pixels an inch, if it has a believable one (20 to 10,000).
    pub dpi: Option<f64>,
    /// Whether an orientation tag turned or mirrored the picture.
    pub reoriented: bool,
    /// Whether the file says that a camera took it.
    pub camera: bool,
    /// Whether the file was compressed with loss (JPEG).
    pub lossy: bool,
    /// What else was decided while reading, as sentences for the painter: only the first page was read, and the like.
    pub notes: Vec<String>,
}

/// A decoded scan.
#[derive(Debug, Clone)]
pub struct Scan {
    /// Pixels across, of the upright picture.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// The pixels themselves.
    pub pixels: Pixels,
    /// From the encoded numbers to colour.
    pub profile: Profile,
    /// Where it came from.
    pub origin: Origin,
}

impl Scan {
    /// R, G, B of one pixel as 16-bit codes; an 8-bit code counts 257 times. Panics outside the picture.
    #[inline]
    pub fn code(&self, x: usize, y: usize) -> [u16; 3] {
        let i = 3 * (y * self.width + x);
        match &self.pixels {
            Pixels::Eight(p) => [p[i], p[i + 1], p[i + 2]].map(|v| 257 * u16::from(v)),
            Pixels::Sixteen(p) => [p[i], p[i + 1], p[i + 2]],
        }
    }
}
