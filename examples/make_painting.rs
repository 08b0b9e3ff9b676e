//! Writes the sample painting, `sample-scans/still-life.jpg`: `cargo run --example make_painting [WIDTH FILE]`.

use std::{error::Error, fs};

use twoground::simulate::{
    encode,
    scene::{File, FileKind},
    space::Space,
    still_life::{Photo, still_life},
};

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
    let kind = if path.ends_with(".png") {
        FileKind::Png8
    } else {
        FileKind::Jpeg(86)
    };
    let file = File {
        space: Space::Srgb,
        tagged: true,
        kind,
        dpi: None,
    };
    fs::write(&path, encode::bytes(width, height, &encoded, file)?)?;
    println!("{path}: {width} x {height}");
    Ok(())
}
