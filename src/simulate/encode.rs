//! Encoded pixels -> bytes of a file, with its colour profile and resolution.

use std::{borrow::Cow, io::Cursor};

use image::{
    ExtendedColorType, ImageEncoder,
    codecs::jpeg::{JpegEncoder, PixelDensity},
};
use tiff::{
    encoder::{Compression, DeflateLevel, Predictor, Rational, TiffEncoder, TiffValue, colortype},
    tags::{ResolutionUnit, Tag},
};

use super::scene::{File, FileKind};
use crate::{Error, Result};

/// Writes a picture of `encoded` R, G, B (0 to 1, rows from the top) as `file` says.
pub fn bytes(width: usize, height: usize, encoded: &[f32], file: File) -> Result<Vec<u8>> {
    let size = [width as u32, height as u32];
    let icc = file.tagged.then(|| file.space.icc());
    match file.kind {
        FileKind::Png8 => {
            png(size, &eight(encoded), png::BitDepth::Eight, icc, file.dpi).map_err(failed)
        }
        FileKind::Png16 => {
            let big_endian: Vec<u8> = sixteen(encoded).flat_map(u16::to_be_bytes).collect();
            png(size, &big_endian, png::BitDepth::Sixteen, icc, file.dpi).map_err(failed)
        }
        FileKind::Tiff8 => {
            tiff::<colortype::RGB8>(size, &eight(encoded), icc, file.dpi).map_err(failed)
        }
        FileKind::Tiff16 => {
            tiff::<colortype::RGB16>(size, &sixteen(encoded).collect::<Vec<_>>(), icc, file.dpi)
                .map_err(failed)
        }
        FileKind::Jpeg(quality) => {
            jpeg(size, &eight(encoded), quality, icc, file.dpi).map_err(failed)
        }
    }
}

fn failed(error: impl std::fmt::Display) -> Error {
    Error::Outside {
        what: "The simulated scan",
        doing: "could not be written",
        reason: error.to_string(),
    }
}

fn eight(encoded: &[f32]) -> Vec<u8> {
    encoded.iter().map(|v| (v * 255.0).round() as u8).collect()
}

fn sixteen(encoded: &[f32]) -> impl Iterator<Item = u16> {
    encoded
        .iter()
        .map(|v| (f64::from(*v) * 65535.0).round() as u16)
}

fn png(
    [width, height]: [u32; 2],
    data: &[u8],
    depth: png::BitDepth,
    icc: Option<Vec<u8>>,
    dpi: Option<f64>,
) -> std::result::Result<Vec<u8>, png::EncodingError> {
    let mut info = png::Info::with_size(width, height);
    info.color_type = png::ColorType::Rgb;
    info.bit_depth = depth;
    info.icc_profile = icc.map(Cow::Owned);
    info.pixel_dims = dpi.map(|dpi| {
        // PNG counts in pixels a metre (ISO/IEC 15948, 11.3.5.3).
        let per_metre = (dpi / 0.0254).round() as u32;
        png::PixelDimensions {
            xppu: per_metre,
            yppu: per_metre,
            unit: png::Unit::Meter,
        }
    });
    let mut out = Vec::new();
    let mut encoder = png::Encoder::with_info(&mut out, info)?;
    encoder.set_compression(png::Compression::High);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(data)?;
    writer.finish()?;
    Ok(out)
}

fn tiff<C>(
    [width, height]: [u32; 2],
    data: &[C::Inner],
    icc: Option<Vec<u8>>,
    dpi: Option<f64>,
) -> std::result::Result<Vec<u8>, tiff::TiffError>
where
    C: colortype::ColorType,
    [C::Inner]: TiffValue,
{
    let mut out = Cursor::new(Vec::new());
    let mut encoder = TiffEncoder::new(&mut out)?
        .with_predictor(Predictor::Horizontal)
        .with_compression(Compression::Deflate(DeflateLevel::Best));
    let mut image = encoder.new_image::<C>(width, height)?;
    if let Some(icc) = icc {
        image.encoder().write_tag(Tag::IccProfile, icc.as_slice())?;
    }
    if let Some(dpi) = dpi {
        image.resolution(
            ResolutionUnit::Inch,
            Rational {
                n: (dpi * 1000.0).round() as u32,
                d: 1000,
            },
        );
    }
    image.write_data(data)?;
    Ok(out.into_inner())
}

fn jpeg(
    [width, height]: [u32; 2],
    data: &[u8],
    quality: u8,
    icc: Option<Vec<u8>>,
    dpi: Option<f64>,
) -> image::ImageResult<Vec<u8>> {
    let mut out = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut out, quality);
    if let Some(icc) = icc {
        encoder
            .set_icc_profile(icc)
            .map_err(image::ImageError::Unsupported)?;
    }
    if let Some(dpi) = dpi {
        encoder.set_pixel_density(PixelDensity::dpi(dpi.round() as u16));
    }
    encoder.write_image(data, width, height, ExtendedColorType::Rgb8)?;
    Ok(out)
}
