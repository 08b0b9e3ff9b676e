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

#[cfg(test)]
mod tests {
    use image::{DynamicImage, ImageDecoder, ImageReader};

    use super::*;
    use crate::simulate::space::Space;

    fn ramp() -> Vec<f32> {
        (0..3 * 200 * 100).map(|i| i as f32 / 59_999.0).collect()
    }

    fn written(kind: FileKind, tagged: bool, dpi: Option<f64>) -> Vec<u8> {
        bytes(
            200,
            100,
            &ramp(),
            File {
                space: Space::DisplayP3,
                tagged,
                kind,
                dpi,
            },
        )
        .unwrap()
    }

    /// Read back by the general library: pixels, depth and profile.
    #[test]
    fn files_read_back_as_they_were_written() {
        for (kind, sixteen) in [
            (FileKind::Png8, false),
            (FileKind::Png16, true),
            (FileKind::Tiff8, false),
            (FileKind::Tiff16, true),
        ] {
            let file = written(kind, true, Some(150.0));
            let mut decoder = ImageReader::new(Cursor::new(&file))
                .with_guessed_format()
                .unwrap()
                .into_decoder()
                .unwrap();
            assert_eq!(
                decoder
                    .icc_profile()
                    .unwrap()
                    .unwrap_or_else(|| panic!("{kind:?} lost its profile")),
                Space::DisplayP3.icc(),
                "{kind:?}"
            );
            let picture = DynamicImage::from_decoder(decoder).unwrap();
            assert_eq!((picture.width(), picture.height()), (200, 100));
            let worst = match &picture {
                DynamicImage::ImageRgb16(p) if sixteen => p
                    .iter()
                    .zip(ramp())
                    .map(|(v, e)| (f32::from(*v) / 65535.0 - e).abs())
                    .fold(0.0, f32::max),
                DynamicImage::ImageRgb8(p) if !sixteen => p
                    .iter()
                    .zip(ramp())
                    .map(|(v, e)| (f32::from(*v) / 255.0 - e).abs())
                    .fold(0.0, f32::max),
                other => panic!("{kind:?} came back as {:?}", other.color()),
            };
            assert!(
                worst
                    <= if sixteen {
                        0.5001 / 65535.0
                    } else {
                        0.5001 / 255.0
                    },
                "{kind:?} {worst}"
            );
        }
    }

    #[test]
    fn a_jpeg_reads_back_closely_and_untagged_files_carry_no_profile() {
        let file = written(FileKind::Jpeg(95), true, Some(150.0));
        let mut decoder = ImageReader::new(Cursor::new(&file))
            .with_guessed_format()
            .unwrap()
            .into_decoder()
            .unwrap();
        assert_eq!(
            decoder.icc_profile().unwrap().expect("an embedded profile"),
            Space::DisplayP3.icc()
        );
        for kind in [FileKind::Png16, FileKind::Tiff8, FileKind::Jpeg(80)] {
            let file = written(kind, false, None);
            let mut decoder = ImageReader::new(Cursor::new(&file))
                .with_guessed_format()
                .unwrap()
                .into_decoder()
                .unwrap();
            assert_eq!(decoder.icc_profile().unwrap(), None, "{kind:?}");
        }
    }

    /// PNG counts pixels a metre (150 / 0.0254 = 5905.5), JFIF and TIFF pixels an inch.
    #[test]
    fn resolution_tags_are_written() {
        let png = written(FileKind::Png16, true, Some(150.0));
        let at = png.windows(4).position(|w| w == b"pHYs").unwrap();
        assert_eq!(
            png[at + 4..at + 13],
            [0, 0, 0x17, 0x12, 0, 0, 0x17, 0x12, 1]
        );
        let jpeg = written(FileKind::Jpeg(90), false, Some(150.0));
        let at = jpeg.windows(5).position(|w| w == b"JFIF\0").unwrap();
        assert_eq!(jpeg[at + 7..at + 12], [1, 0, 150, 0, 150]);
        let mut tiff =
            tiff::decoder::Decoder::new(Cursor::new(written(FileKind::Tiff8, false, Some(150.0))))
                .unwrap();
        assert_eq!(tiff.get_tag_u32(Tag::ResolutionUnit).unwrap(), 2);
        let ratio = tiff
            .get_tag(Tag::XResolution)
            .unwrap()
            .into_u32_vec()
            .unwrap();
        assert_eq!(f64::from(ratio[0]) / f64::from(ratio[1]), 150.0);
        assert!(
            !written(FileKind::Png8, true, None)
                .windows(4)
                .any(|w| w == b"pHYs")
        );
    }
}
