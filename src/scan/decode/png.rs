//! PNG (third edition, W3C 2025).

use std::io::Cursor;

use image::metadata::Orientation;
use png::{BitDepth, ColorType, Decoder, Info, Transformations, Unit};

use super::{Colour, Fourth, Picture, check_size, damaged, drop_fourth, exif::Exif, grey, palette};
use crate::{Result, scan::Pixels};

pub(super) fn read(bytes: &[u8]) -> Result<Picture> {
    let mut decoder = Decoder::new(Cursor::new(bytes));
    decoder.set_ignore_text_chunk(true);
    // Turns a transparent colour into a fourth channel; keeps 16 bits.
    decoder.set_transformations(Transformations::EXPAND);
    let header = decoder.read_header_info().map_err(damaged)?;
    let (width, height) = (header.width, header.height);
    let sixteen = header.bit_depth == BitDepth::Sixteen;
    match header.color_type {
        ColorType::Grayscale | ColorType::GrayscaleAlpha => return Err(grey()),
        ColorType::Indexed => return Err(palette()),
        ColorType::Rgb | ColorType::Rgba => {}
    }
    let count = check_size(width.into(), height.into(), if sixteen { 16 } else { 8 })?;

    let mut reader = decoder.read_info().map_err(damaged)?;
    let mut notes = Vec::new();
    if reader.info().animation_control.is_some() {
        notes.push("The picture is an animation; its first frame was read.".into());
    }
    let channels = reader.output_color_type().0.samples();
    let fourth = (channels == 4).then_some(Fourth::Cover);
    let pixels = if sixteen {
        let mut values = vec![0_u16; count * channels];
        reader
            .next_frame(bytemuck::cast_slice_mut(&mut values))
            .map_err(damaged)?;
        values.iter_mut().for_each(|v| *v = u16::from_be(*v));
        fourth.inspect(|&fourth| drop_fourth(&mut values, fourth, &mut notes));
        Pixels::Sixteen(values)
    } else {
        let mut values = vec![0_u8; count * channels];
        reader.next_frame(&mut values).map_err(damaged)?;
        fourth.inspect(|&fourth| drop_fourth(&mut values, fourth, &mut notes));
        Pixels::Eight(values)
    };
    reader.finish().map_err(damaged)?;

    let info = reader.info();
    let exif = info.exif_metadata.as_deref().and_then(Exif::new);
    Ok(Picture {
        width: width as usize,
        height: height as usize,
        pixels,
        colour: colour(info, has_profile(bytes)),
        resolution: resolution(info).or(exif.as_ref().and_then(Exif::resolution)),
        camera: exif.as_ref().is_some_and(Exif::camera),
        orientation: exif.map_or(Orientation::NoTransforms, |exif| exif.orientation()),
        notes,
    })
}

/// The order of precedence of PNG third edition, 4.3 (without cICP, which no scanner writes).
fn colour(info: &Info, has_profile: bool) -> Colour {
    if let Some(icc) = &info.icc_profile {
        return Colour::Icc(icc.to_vec());
    }
    if has_profile {
        return Colour::BrokenIcc;
    }
    if info.srgb.is_some() {
        return Colour::Srgb;
    }
    let (Some(gamma), Some(said)) = (info.gama_chunk, info.chrm_chunk) else {
        return Colour::Unsaid;
    };
    let value = |scaled: png::ScaledFloat| f64::from(scaled.into_scaled()) / 100_000.0;
    let point = |(x, y)| [value(x), value(y)];
    Colour::Chromaticities {
        exponent: 1.0 / value(gamma),
        primaries: [point(said.red), point(said.green), point(said.blue)],
        white: point(said.white),
    }
}

fn resolution(info: &Info) -> Option<[f64; 2]> {
    let said = info.pixel_dims.filter(|said| said.unit == Unit::Meter)?;
    Some([said.xppu, said.yppu].map(|v| 0.0254 * f64::from(v)))
}

/// Whether the file holds an iCCP chunk, readable or not: the decoder passes over one that is broken.
fn has_profile(bytes: &[u8]) -> bool {
    let mut at = 8;
    while let Some(&[a, b, c, d, ref name @ ..]) =
        bytes.get(at..).and_then(|rest| rest.first_chunk::<8>())
    {
        match name {
            b"iCCP" => return true,
            b"IDAT" => return false,
            _ => {}
        }
        let length = u32::from_be_bytes([a, b, c, d]) as usize;
        let Some(next) = at.checked_add(12).and_then(|at| at.checked_add(length)) else {
            return false;
        };
        at = next;
    }
    false
}
