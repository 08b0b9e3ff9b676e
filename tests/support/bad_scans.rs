//! Files that are no scan of a card, each with words of the sentence that says what to do about it.

use std::io::Cursor;

use image::{DynamicImage, GrayImage, ImageFormat, Luma, Rgb, RgbImage};

/// Name, bytes, and words that the sentence holds.
pub(crate) fn all() -> Vec<(&'static str, Vec<u8>, &'static str)> {
    let stripes = stripes();
    let whole = |format| encode(&stripes.clone().into(), format);
    let half = |format| {
        let mut bytes = whole(format);
        bytes.truncate(bytes.len() / 2);
        bytes
    };
    vec![
        ("empty.png", Vec::new(), "not a PNG, JPEG or TIFF picture"),
        (
            "letter.png",
            b"Dear painter, this is no picture.".to_vec(),
            "not a PNG, JPEG or TIFF picture",
        ),
        ("cut.png", half(ImageFormat::Png), "damaged or cut short"),
        ("cut.jpg", half(ImageFormat::Jpeg), "damaged or cut short"),
        ("cut.tif", half(ImageFormat::Tiff), "damaged or cut short"),
        (
            "grey.png",
            encode(&grey(&stripes).into(), ImageFormat::Png),
            "Scan again in colour",
        ),
        (
            "grey.jpg",
            encode(&grey(&stripes).into(), ImageFormat::Jpeg),
            "Scan again in colour",
        ),
        (
            "vast.png",
            vast(),
            "Scan at 300 dpi, or save only the part that is needed",
        ),
        (
            "wall.png",
            encode(&wall().into(), ImageFormat::Png),
            "No card was found",
        ),
        ("bare.png", whole(ImageFormat::Png), "no paint across them"),
    ]
}

fn encode(picture: &DynamicImage, format: ImageFormat) -> Vec<u8> {
    let mut bytes = Cursor::new(Vec::new());
    picture
        .write_to(&mut bytes, format)
        .expect("a picture is encoded");
    bytes.into_inner()
}

/// A card of three black and three white stripes on a grey lid, without any paint: 100 x 80 mm at 150 dpi.
fn stripes() -> RgbImage {
    RgbImage::from_fn(720, 600, |x, y| {
        if !(60..660).contains(&x) || !(60..540).contains(&y) {
            Rgb([128, 128, 128])
        } else if (x - 60) / 100 % 2 == 0 {
            Rgb([238, 238, 236])
        } else {
            Rgb([34, 34, 35])
        }
    })
}

fn grey(picture: &RgbImage) -> GrayImage {
    GrayImage::from_fn(picture.width(), picture.height(), |x, y| {
        Luma([picture.get_pixel(x, y).0[0]])
    })
}

/// A smooth gradient.
fn wall() -> RgbImage {
    RgbImage::from_fn(400, 300, |x, y| {
        Rgb([(60 + x / 4) as u8, (80 + y / 3) as u8, 150])
    })
}

/// A PNG whose head says 40,000 x 40,000 pixels.
fn vast() -> Vec<u8> {
    let mut bytes = encode(&RgbImage::new(1, 1).into(), ImageFormat::Png);
    // The signature has 8 bytes; then length (4), "IHDR" (4), width (4), height (4), five more, checksum (4).
    // Portable Network Graphics (PNG) Specification, third edition, 11.2.1.
    bytes[16..20].copy_from_slice(&40_000u32.to_be_bytes());
    bytes[20..24].copy_from_slice(&40_000u32.to_be_bytes());
    let checksum = crc32(&bytes[12..29]);
    bytes[29..33].copy_from_slice(&checksum.to_be_bytes());
    bytes
}

/// The checksum of PNG chunks (the same specification, annex D).
fn crc32(bytes: &[u8]) -> u32 {
    !bytes.iter().fold(u32::MAX, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |crc, _| {
            (crc >> 1) ^ (0xEDB8_8320 & (crc & 1).wrapping_neg())
        })
    })
}
