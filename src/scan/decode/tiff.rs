//! TIFF 6.0 and its 64-bit form.

use std::io::Cursor;

use image::metadata::Orientation;
use tiff::{
    ColorType, TiffError,
    decoder::{Decoder, DecodingResult, Limits},
    tags::Tag,
};

use super::{
    Colour, Fourth, Picture, check_size, cmyk, damaged, drop_fourth, exif::per_inch, grey, not_rgb,
    odd_compression, odd_depth, palette, raw_camera_file,
};
use crate::{Error, Result, scan::Pixels};

type Reader<'a> = Decoder<Cursor<&'a [u8]>>;

const DNG_VERSION: Tag = Tag::Unknown(50706);
/// TIFF 6.0, section 22, and its technical note 2.
const JPEG_COMPRESSIONS: std::ops::RangeInclusive<u16> = 6..=7;

pub(super) fn read(bytes: &[u8]) -> Result<Picture> {
    let mut reader = Decoder::new(Cursor::new(bytes)).map_err(error)?;
    let mut notes = Vec::new();
    pass_thumbnails(&mut reader)?;
    if reader.more_images() {
        notes.push("The file has several pages; only the first was read.".into());
    }
    let (channels, bits, fourth) = kind(&mut reader, &mut notes)?;
    let (width, height) = reader.dimensions().map_err(error)?;
    let count = check_size(width.into(), height.into(), bits)?;
    check_extent(&mut reader, bytes.len() as u64)?;

    let bytes_needed = count * channels * usize::from(bits / 8);
    let mut limits = Limits::default();
    limits.decoding_buffer_size = bytes_needed;
    limits.intermediate_buffer_size = bytes_needed.max(1 << 20);
    limits.ifd_value_size = 1 << 24;
    let mut reader = reader.with_limits(limits);
    let mut values = DecodingResult::U8(Vec::new());
    let layout = reader.read_image_to_buffer(&mut values).map_err(error)?;
    if values.as_buffer(0).byte_len() != bytes_needed || layout.complete_len != bytes_needed {
        return Err(damaged("fewer or more samples than the size says"));
    }
    let planar = layout.planes > 1;
    let pixels = match values {
        DecodingResult::U8(values) => {
            Pixels::Eight(three(values, planar, channels, fourth, &mut notes))
        }
        DecodingResult::U16(values) => {
            Pixels::Sixteen(three(values, planar, channels, fourth, &mut notes))
        }
        _ => return Err(odd_depth()),
    };
    Ok(Picture {
        width: width as usize,
        height: height as usize,
        pixels,
        colour: colour(&mut reader),
        resolution: resolution(&mut reader),
        camera: false,
        orientation: orientation(&mut reader),
        notes,
    })
}

fn error(error: TiffError) -> Error {
    match error {
        TiffError::UnsupportedError(_) => odd_compression(),
        error => damaged(error),
    }
}

/// Goes to the first page that is not marked as a reduced copy of another (NewSubfileType, bit 0).
fn pass_thumbnails(reader: &mut Reader) -> Result<()> {
    while reader.more_images()
        && number(reader, Tag::NewSubfileType).is_some_and(|kind| kind & 1 == 1)
    {
        reader.next_image().map_err(error)?;
    }
    Ok(())
}

/// Channels, bits a channel, and how a fourth channel covers.
fn kind(reader: &mut Reader, notes: &mut Vec<String>) -> Result<(usize, u8, Option<Fourth>)> {
    if matches!(reader.find_tag(DNG_VERSION), Ok(Some(_))) {
        return Err(raw_camera_file());
    }
    // The reader decodes these by another path than a JPEG file, one that fills up what is missing.
    if number(reader, Tag::Compression).is_some_and(|kind| JPEG_COMPRESSIONS.contains(&kind)) {
        return Err(odd_compression());
    }
    match number(reader, Tag::PhotometricInterpretation) {
        Some(2) => {}
        Some(0 | 1) => return Err(grey()),
        Some(3) => return Err(palette()),
        Some(5) => return Err(cmyk()),
        _ => return Err(not_rgb()),
    }
    match number(reader, Tag::SampleFormat) {
        None | Some(1) => {}
        _ => return Err(odd_depth()),
    }
    let cover = match number(reader, Tag::ExtraSamples) {
        // TIFF 6.0, ExtraSamples: cover with multiplied colours, cover without; the reader leaves out all others.
        Some(1) => Some(Fourth::PremultipliedCover),
        Some(2) => Some(Fourth::Cover),
        _ => None,
    };
    match (reader.colortype().map_err(error)?, cover) {
        (ColorType::RGB(bits @ (8 | 16)), None) => {
            if number(reader, Tag::SamplesPerPixel).is_some_and(|samples| samples > 3) {
                notes.push(
                    "The picture has a fourth channel, such as infrared; it was left out.".into(),
                );
            }
            Ok((3, bits, None))
        }
        (ColorType::RGBA(bits @ (8 | 16)), Some(cover)) => Ok((4, bits, Some(cover))),
        (ColorType::RGB(_) | ColorType::RGBA(_), _) => Err(odd_depth()),
        _ => Err(not_rgb()),
    }
}

/// Checks that every strip or tile lies inside the file.
fn check_extent(reader: &mut Reader, length: u64) -> Result<()> {
    for (offsets, sizes) in [
        (Tag::StripOffsets, Tag::StripByteCounts),
        (Tag::TileOffsets, Tag::TileByteCounts),
    ] {
        let offsets = reader
            .find_tag_unsigned_vec::<u64>(offsets)
            .map_err(error)?;
        let sizes = reader.find_tag_unsigned_vec::<u64>(sizes).map_err(error)?;
        let (Some(offsets), Some(sizes)) = (offsets, sizes) else {
            continue;
        };
        let inside = |(offset, size): (&u64, &u64)| {
            offset.checked_add(*size).is_some_and(|end| end <= length)
        };
        if !offsets.iter().zip(&sizes).all(inside) {
            return Err(damaged("picture data beyond the end of the file"));
        }
    }
    Ok(())
}

/// Three interleaved channels.
fn three<T>(
    mut values: Vec<T>,
    planar: bool,
    channels: usize,
    fourth: Option<Fourth>,
    notes: &mut Vec<String>,
) -> Vec<T>
where
    T: Copy + Default + PartialEq + bytemuck::Pod + Into<u64> + TryFrom<u64>,
{
    if planar {
        let plane = values.len() / channels;
        values = (0..values.len())
            .map(|i| values[i % channels * plane + i / channels])
            .collect();
    }
    if let Some(fourth) = fourth {
        drop_fourth(&mut values, fourth, notes);
    }
    values
}

fn colour(reader: &mut Reader) -> Colour {
    match reader.find_tag(Tag::IccProfile) {
        Ok(None) => Colour::Unsaid,
        Ok(Some(value)) => value.into_u8_vec().map_or(Colour::BrokenIcc, Colour::Icc),
        Err(_) => Colour::BrokenIcc,
    }
}

fn resolution(reader: &mut Reader) -> Option<[f64; 2]> {
    let mut rational = |tag| match reader.find_tag(tag).ok()?? {
        tiff::decoder::ifd::Value::Rational(above, below) if below != 0 => {
            Some(f64::from(above) / f64::from(below))
        }
        _ => None,
    };
    let (across, down) = (rational(Tag::XResolution)?, rational(Tag::YResolution)?);
    // TIFF 6.0: the inch where no unit is given.
    per_inch(
        across,
        down,
        number(reader, Tag::ResolutionUnit).unwrap_or(2),
    )
}

fn orientation(reader: &mut Reader) -> Orientation {
    let said = number(reader, Tag::Orientation).and_then(|value| u8::try_from(value).ok());
    said.and_then(Orientation::from_exif)
        .unwrap_or(Orientation::NoTransforms)
}

/// The first number of an entry, where there is one and it is readable.
fn number(reader: &mut Reader, tag: Tag) -> Option<u16> {
    let values = reader.find_tag_unsigned_vec::<u64>(tag).ok()??;
    values.first().and_then(|&value| u16::try_from(value).ok())
}
