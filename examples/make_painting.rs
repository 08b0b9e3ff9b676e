//! Writes the sample painting, `sample-scans/still-life.jpg`: `cargo run --example make_painting [WIDTH FILE]`.

use std::{error::Error, fs};

use image::{ExtendedColorType, ImageEncoder, codecs::jpeg::JpegEncoder};
use moxcms::ColorProfile;
use twoground::simulate::still_life::{Photo, still_life};

#[allow(clippy::print_stdout)]
fn main() -> Result<(), Box<dyn Error>> {
    let mut args = std::env::args().skip(1);
    let width: usize = args.next().map_or(Ok(1600), |w| w.parse())?;
    let path = args
        .next()
        .unwrap_or_else(|| "sample-scans/still-life.jpg".into());
    // Under a warm lamp at the left, half a stop dark.
    let photo = Photo {
        gain: [0.76, 0.70, 0.60],
        falls_off: 0.12,
    };
    let (height, encoded) = still_life(width, photo);
    let pixels: Vec<u8> = encoded.iter().map(|v| (v * 255.0).round() as u8).collect();
    let mut bytes = Vec::new();
    let mut encoder = JpegEncoder::new_with_quality(&mut bytes, 86);
    encoder.set_icc_profile(ColorProfile::new_srgb().encode()?)?;
    encoder.write_image(
        &pixels,
        width as u32,
        height as u32,
        ExtendedColorType::Rgb8,
    )?;
    fs::write(&path, bytes)?;
    println!("{path}: {width} x {height}");
    Ok(())
}
