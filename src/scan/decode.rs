//! Bytes of a file to an upright picture at full depth.
//!
//! A picture is taken whole or not at all: a file that breaks off anywhere is [`Error::Damaged`], never a picture that
//! ends in grey. One decoded copy is held; a second one for as long as it takes to turn a picture on its side, to
//! interleave a TIFF stored plane by plane, and to read a progressive JPEG.

mod exif;
mod jpeg;
mod png;
mod tiff;

use image::{DynamicImage, ImageBuffer, metadata::Orientation};

use super::{Origin, Pixels, Profile, Scan, profile::Unusable};
use crate::{Error, Result};

/// Most pixels that are read at 8 bits a channel, in millions.
pub const LIMIT_EIGHT: u64 = 150;
/// Most pixels that are read at 16 bits a channel, in millions.
pub const LIMIT_SIXTEEN: u64 = 80;

/// Believable resolutions in pixels an inch.
const BELIEVABLE: std::ops::RangeInclusive<f64> = 20.0..=10_000.0;

/// Decodes a PNG, JPEG or TIFF file. `file_name` may hold folders; they are dropped.
///
/// # Errors
/// [`Error::NotAPicture`], [`Error::Damaged`], [`Error::WrongKind`] for grey, palette and CMYK pictures and for uncommon
/// kinds of the three formats, and [`Error::TooLarge`], which is known from the header before anything is allocated.
pub fn decode(bytes: &[u8], file_name: &str) -> Result<Scan> {
    let (format, read) = match bytes {
        [0x89, b'P', b'N', b'G', 0x0D, 0x0A, 0x1A, 0x0A, ..] => ("PNG", png::read(bytes)?),
        [0xFF, 0xD8, 0xFF, ..] => ("JPEG", jpeg::read(bytes)?),
        // TIFF 6.0 and its 64-bit form, both byte orders.
        [b'I', b'I', 42 | 43, 0, ..] | [b'M', b'M', 0, 42 | 43, ..] => ("TIFF", tiff::read(bytes)?),
        _ => return Err(Error::NotAPicture),
    };
    let Picture {
        width,
        height,
        pixels,
        colour,
        resolution,
        orientation,
        camera,
        mut notes,
    } = read;
    let (profile, said, assumed) = profile_of(colour, &mut notes);
    let depth = match &pixels {
        Pixels::Eight(_) => 8,
        Pixels::Sixteen(_) => 16,
    };
    let (width, height, pixels) = upright(width, height, pixels, orientation)?;
    let origin = Origin {
        file_name: file_name
            .rsplit(['/', '\\'])
            .next()
            .unwrap_or_default()
            .to_owned(),
        format,
        depth,
        profile: said,
        profile_assumed: assumed,
        dpi: resolution.and_then(believable),
        reoriented: orientation != Orientation::NoTransforms,
        camera,
        lossy: format == "JPEG",
        notes,
    };
    Ok(Scan {
        width,
        height,
        pixels,
        profile,
        origin,
    })
}

/// What a format's reader gives.
struct Picture {
    width: usize,
    height: usize,
    /// Three channels, as stored.
    pixels: Pixels,
    colour: Colour,
    /// Pixels an inch, across and down.
    resolution: Option<[f64; 2]>,
    orientation: Orientation,
    /// Whether EXIF tells how long a shutter was open.
    camera: bool,
    notes: Vec<String>,
}

/// What a file says of its colours.
enum Colour {
    /// Nothing.
    Unsaid,
    /// An ICC profile.
    Icc(Vec<u8>),
    /// An ICC profile that could not be taken out of the file.
    BrokenIcc,
    /// That it is sRGB.
    Srgb,
    /// Decoding exponent, primaries and white.
    Chromaticities {
        exponent: f64,
        primaries: [[f64; 2]; 3],
        white: [f64; 2],
    },
}

/// The profile, its description, and whether it was only assumed.
fn profile_of(colour: Colour, notes: &mut Vec<String>) -> (Profile, String, bool) {
    let read = match colour {
        Colour::Unsaid => return (Profile::srgb(), "none: sRGB assumed".into(), true),
        Colour::Srgb => return (Profile::srgb(), "sRGB".into(), false),
        Colour::BrokenIcc => Err(Unusable::Absurd),
        Colour::Icc(bytes) => Profile::from_icc(&bytes),
        Colour::Chromaticities {
            exponent,
            primaries,
            white,
        } => Profile::from_chromaticities(exponent, primaries, white),
    };
    match read {
        Ok(profile) => {
            let name = profile.name().to_owned();
            (profile, name, false)
        }
        Err(why) => {
            notes.push(format!(
                "The colour profile in the file is {why}; sRGB was assumed."
            ));
            (Profile::srgb(), format!("{why}: sRGB assumed"), true)
        }
    }
}

fn believable([across, down]: [f64; 2]) -> Option<f64> {
    // Scanners may step differently across and down; a picture whose pixels are not square is left to the finder.
    let square = (across - down).abs() <= 0.01 * across.abs();
    (square && BELIEVABLE.contains(&across)).then_some(across)
}

/// Refuses sizes beyond the limits. Returns the number of pixels.
fn check_size(width: u64, height: u64, bits: u8) -> Result<usize> {
    if width == 0 || height == 0 {
        return Err(damaged("no pixels"));
    }
    let limit = if bits > 8 { LIMIT_SIXTEEN } else { LIMIT_EIGHT };
    let pixels = width.saturating_mul(height);
    if pixels > limit * 1_000_000 {
        return Err(Error::TooLarge {
            megapixels: pixels.div_ceil(1_000_000),
            limit,
            bits,
        });
    }
    Ok(pixels as usize)
}

fn upright(
    width: usize,
    height: usize,
    pixels: Pixels,
    orientation: Orientation,
) -> Result<(usize, usize, Pixels)> {
    if orientation == Orientation::NoTransforms {
        return Ok((width, height, pixels));
    }
    let (across, down) = (width as u32, height as u32);
    let picture = match pixels {
        Pixels::Eight(values) => {
            ImageBuffer::from_raw(across, down, values).map(DynamicImage::ImageRgb8)
        }
        Pixels::Sixteen(values) => {
            ImageBuffer::from_raw(across, down, values).map(DynamicImage::ImageRgb16)
        }
    };
    let mut picture = picture.ok_or_else(|| damaged("pixels missing"))?;
    picture.apply_orientation(orientation);
    let (width, height) = (picture.width() as usize, picture.height() as usize);
    let pixels = match picture {
        DynamicImage::ImageRgb8(buffer) => Pixels::Eight(buffer.into_raw()),
        DynamicImage::ImageRgb16(buffer) => Pixels::Sixteen(buffer.into_raw()),
        _ => return Err(damaged("turned into another kind")),
    };
    Ok((width, height, pixels))
}

/// How a fourth channel, which says where the picture covers what lies behind it, goes with the colours.
#[derive(Clone, Copy, PartialEq)]
enum Fourth {
    /// The colours are not multiplied by it.
    Cover,
    /// The colours are already multiplied by it.
    PremultipliedCover,
}

/// Takes a fourth channel away, in place. Where it says that the picture is not opaque, white shows through.
fn drop_fourth<T>(values: &mut Vec<T>, fourth: Fourth, notes: &mut Vec<String>)
where
    T: Copy + Default + PartialEq + bytemuck::Pod + Into<u64> + TryFrom<u64>,
{
    let full: u64 = (1 << (8 * size_of::<T>())) - 1;
    let mut clear = false;
    for pixel in 0..values.len() / 4 {
        let cover: u64 = values[4 * pixel + 3].into();
        let opaque = cover == full;
        clear |= !opaque;
        for channel in 0..3 {
            let stored = values[4 * pixel + channel];
            values[3 * pixel + channel] = if opaque {
                stored
            } else {
                let colour = stored.into() * if fourth == Fourth::Cover { cover } else { full };
                let over_white = (colour + (full - cover) * full + full / 2) / full;
                T::try_from(over_white.min(full)).unwrap_or_default()
            };
        }
    }
    values.truncate(values.len() / 4 * 3);
    if clear {
        notes.push("Parts of the picture are transparent; white was put behind them.".into());
    }
}

fn damaged(why: impl Into<Box<dyn std::error::Error + Send + Sync>>) -> Error {
    Error::Damaged(why.into())
}

const LOSSLESS: &str = "PNG or TIFF";

fn grey() -> Error {
    Error::WrongKind {
        kind: "in shades of grey",
        save_as: LOSSLESS,
    }
}

fn palette() -> Error {
    Error::WrongKind {
        kind: "reduced to a palette of few colours",
        save_as: "PNG or TIFF with 24 or 48 bits a pixel",
    }
}

fn cmyk() -> Error {
    Error::WrongKind {
        kind: "in CMYK printing colours",
        save_as: "an RGB PNG or TIFF",
    }
}

fn not_rgb() -> Error {
    Error::WrongKind {
        kind: "not stored as red, green and blue",
        save_as: "an RGB PNG or TIFF",
    }
}

fn odd_depth() -> Error {
    Error::WrongKind {
        kind: "stored in neither 8 nor 16 bits a channel",
        save_as: "PNG or TIFF with 8 or 16 bits a channel",
    }
}

fn odd_compression() -> Error {
    Error::WrongKind {
        kind: "compressed in a way that is not read here",
        save_as: "PNG, or TIFF without compression",
    }
}

fn raw_camera_file() -> Error {
    Error::WrongKind {
        kind: "a camera’s raw file",
        save_as: "PNG or TIFF",
    }
}

#[cfg(test)]
mod tests;
