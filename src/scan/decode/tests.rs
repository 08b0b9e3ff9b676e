use std::io::Cursor;

use image::{ExtendedColorType, ImageEncoder, codecs::png::PngEncoder};
use proptest::prelude::*;

use super::*;

/// Pictures of other programs; `tests/data/scan/make_files.py` makes them and says what they hold.
macro_rules! sample {
    ($name:literal) => {
        include_bytes!(concat!("../../../tests/data/scan/", $name)).as_slice()
    };
}

const WIDTH: usize = 64;
const HEIGHT: usize = 48;

fn eight(x: usize, y: usize) -> [u8; 3] {
    [4 * x as u8, 5 * y as u8, 2 * (x + y) as u8]
}

fn sixteen(x: usize, y: usize) -> [u16; 3] {
    [
        1000 * x as u16 + 7,
        1300 * y as u16 + 11,
        500 * (x + y) as u16 + 13,
    ]
}

fn pattern<T>(of: impl Fn(usize, usize) -> [T; 3]) -> Vec<T> {
    (0..HEIGHT)
        .flat_map(|y| (0..WIDTH).map(move |x| (x, y)))
        .flat_map(|(x, y)| of(x, y))
        .collect()
}

fn code(result: Result<Scan>) -> &'static str {
    match result {
        Ok(_) => "read",
        Err(error) => error.code(),
    }
}

/// A PNG of our own with chunks put in before the picture data.
fn png_with(
    pixels: &[u8],
    kind: ExtendedColorType,
    size: (u32, u32),
    chunks: &[(&[u8; 4], &[u8])],
) -> Vec<u8> {
    let mut plain = Vec::new();
    PngEncoder::new(&mut plain)
        .write_image(pixels, size.0, size.1, kind)
        .unwrap();
    // Signature and IHDR: 8 + 25 bytes.
    let mut bytes = plain[..33].to_vec();
    for (name, data) in chunks {
        bytes.extend((data.len() as u32).to_be_bytes());
        bytes.extend(*name);
        bytes.extend(*data);
        bytes.extend(crc(name.iter().chain(*data)).to_be_bytes());
    }
    bytes.extend(&plain[33..]);
    bytes
}

/// CRC-32 of PNG third edition, annex D, bit by bit.
fn crc<'a>(bytes: impl Iterator<Item = &'a u8>) -> u32 {
    !bytes.fold(!0, |crc, &byte| {
        (0..8).fold(crc ^ u32::from(byte), |c, _| {
            if c & 1 == 1 {
                0xEDB8_8320 ^ (c >> 1)
            } else {
                c >> 1
            }
        })
    })
}

fn small_png(chunks: &[(&[u8; 4], &[u8])]) -> Vec<u8> {
    png_with(
        &pattern(eight),
        ExtendedColorType::Rgb8,
        (WIDTH as u32, HEIGHT as u32),
        chunks,
    )
}

#[test]
fn sixteen_bits_are_kept_in_every_layout() {
    let files = [
        ("interlaced.png", sample!("interlaced.png")),
        ("plain.tif", sample!("plain.tif")),
        ("planes.tif", sample!("planes.tif")),
        ("lzw.tif", sample!("lzw.tif")),
        ("infrared.tif", sample!("infrared.tif")),
    ];
    for (name, bytes) in files {
        let scan = decode(bytes, name).unwrap();
        assert_eq!((scan.width, scan.height), (WIDTH, HEIGHT), "{name}");
        assert_eq!(scan.pixels, Pixels::Sixteen(pattern(sixteen)), "{name}");
        assert_eq!(
            (scan.origin.depth, scan.origin.lossy),
            (16, false),
            "{name}"
        );
    }
}

#[test]
fn eight_bits_are_kept_in_every_layout() {
    let files = [
        ("own.png", small_png(&[])),
        ("tiles.tif", sample!("tiles.tif").to_vec()),
        ("packbits.tif", sample!("packbits.tif").to_vec()),
        ("cover.tif", sample!("cover.tif").to_vec()),
    ];
    for (name, bytes) in files {
        let scan = decode(&bytes, name).unwrap();
        assert_eq!(scan.pixels, Pixels::Eight(pattern(eight)), "{name}");
        assert_eq!(scan.origin.depth, 8, "{name}");
    }
}

#[test]
fn jpeg_files_come_near_their_pattern() {
    let files = [
        ("baseline.jpg", sample!("baseline.jpg")),
        ("progressive.jpg", sample!("progressive.jpg")),
        ("restart.jpg", sample!("restart.jpg")),
    ];
    for (name, bytes) in files {
        let scan = decode(bytes, name).unwrap();
        let Pixels::Eight(values) = &scan.pixels else {
            panic!("{name} has 16 bits")
        };
        let far = values
            .iter()
            .zip(pattern(eight))
            .map(|(&a, b)| f64::from(a.abs_diff(b)))
            .sum::<f64>();
        assert!(far / (values.len() as f64) < 3.0, "{name}");
        assert!(scan.origin.lossy);
    }
}

#[test]
fn what_files_say_of_themselves_is_told() {
    let plain = decode(sample!("plain.tif"), "C:\\scans/folder/plain.tif")
        .unwrap()
        .origin;
    assert_eq!(plain.file_name, "plain.tif");
    assert_eq!((plain.format, plain.dpi), ("TIFF", Some(400.0)));
    assert_eq!(
        (plain.profile.as_str(), plain.profile_assumed),
        ("Wide gamut for testing", false)
    );
    assert!(plain.notes.is_empty());

    let planes = decode(sample!("planes.tif"), "planes.tif").unwrap().origin;
    assert_eq!(planes.dpi, Some(254.0));
    assert_eq!(
        (planes.profile.as_str(), planes.profile_assumed),
        ("none: sRGB assumed", true)
    );

    let baseline = decode(sample!("baseline.jpg"), "baseline.jpg")
        .unwrap()
        .origin;
    assert_eq!((baseline.format, baseline.dpi), ("JPEG", Some(300.0)));
    assert_eq!(baseline.profile, "Wide gamut for testing");

    let interlaced = decode(sample!("interlaced.png"), "interlaced.png")
        .unwrap()
        .origin;
    assert!((interlaced.dpi.unwrap() - 300.0).abs() < 0.01);
    assert_eq!(
        (interlaced.profile.as_str(), interlaced.profile_assumed),
        ("sRGB", false)
    );

    let infrared = decode(sample!("infrared.tif"), "infrared.tif")
        .unwrap()
        .origin;
    assert_eq!(
        infrared.notes,
        ["The picture has a fourth channel, such as infrared; it was left out."]
    );
}

#[test]
fn orientation_is_obeyed() {
    // EXIF 6: the picture's top is at the right of what is stored.
    let turned = decode(sample!("turned.jpg"), "turned.jpg").unwrap();
    assert_eq!(
        (turned.width, turned.height, turned.origin.reoriented),
        (HEIGHT, WIDTH, true)
    );
    let Pixels::Eight(values) = &turned.pixels else {
        panic!()
    };
    // The stored lower left pixel comes to the upper left: green 5 * 47, red 0.
    assert!(values[0] < 12 && values[1] > 220);
    assert_eq!(
        (turned.origin.dpi, turned.origin.profile.as_str()),
        (Some(240.0), "sRGB")
    );

    // TIFF orientation 3 on the first page that is no thumbnail: turned half round.
    let pages = decode(sample!("pages.tif"), "pages.tif").unwrap();
    let reversed: Vec<u8> = pattern(eight).chunks(3).rev().flatten().copied().collect();
    assert_eq!(pages.pixels, Pixels::Eight(reversed));
    assert_eq!(
        pages.origin.notes,
        ["The file has several pages; only the first was read."]
    );

    let exif =
        [b"MM\0*\0\0\0\x08\0\x01\x01\x12\0\x03\0\0\0\x01\0\x03\0\0\0\0\0\0".as_slice()].concat();
    let png = decode(&small_png(&[(b"eXIf", &exif)]), "turned.png").unwrap();
    assert!(png.origin.reoriented);
    assert_eq!(png.pixels, pages.pixels);
}

#[test]
fn a_file_that_tells_its_exposure_came_from_a_camera() {
    // One entry that points to the EXIF directory, and there the exposure time, 1/60 s (CIPA DC-008, 4.6.5).
    let exif = |tag: u16| {
        let mut block = b"MM\0*\0\0\0\x08\0\x01\x87\x69\0\x04\0\0\0\x01\0\0\0\x1a\0\0\0\0".to_vec();
        block.extend([0, 1]);
        block.extend(tag.to_be_bytes());
        block.extend([0, 5, 0, 0, 0, 1, 0, 0, 0, 44, 0, 0, 0, 0]);
        block.extend([0, 0, 0, 1, 0, 0, 0, 60]);
        block
    };
    let camera = |tag| {
        let png = small_png(&[(b"eXIf", &exif(tag))]);
        decode(&png, "photo.png").unwrap().origin.camera
    };
    assert!(camera(0x829A));
    assert!(!camera(0x829B));
    assert!(
        !decode(sample!("pages.tif"), "pages.tif")
            .unwrap()
            .origin
            .camera
    );
}

#[test]
fn colours_that_cannot_be_measured_are_refused_with_their_own_word() {
    let cases = [
        (sample!("grey.jpg"), "in shades of grey"),
        (sample!("grey.png"), "in shades of grey"),
        (sample!("grey.tif"), "in shades of grey"),
        (
            sample!("palette.png"),
            "reduced to a palette of few colours",
        ),
        (sample!("one-bit.png"), "in shades of grey"),
        (
            sample!("palette.tif"),
            "reduced to a palette of few colours",
        ),
        (sample!("cmyk.jpg"), "in CMYK printing colours"),
        (sample!("cmyk.tif"), "in CMYK printing colours"),
        (sample!("lab.tif"), "not stored as red, green and blue"),
        (
            sample!("float.tif"),
            "stored in neither 8 nor 16 bits a channel",
        ),
        (
            sample!("jpeg.tif"),
            "compressed in a way that is not read here",
        ),
    ];
    for (bytes, word) in cases {
        match decode(bytes, "file") {
            Err(Error::WrongKind { kind, .. }) => assert_eq!(kind, word),
            other => panic!("{word}: {:?}", other.map(|scan| scan.origin)),
        }
    }
}

#[test]
fn what_is_no_picture_is_not_one() {
    for bytes in [
        b"".as_slice(),
        b"%PDF-1.7 and so on",
        b"GIF89a",
        &[0xFF, 0xD8],
        &[0; 64],
    ] {
        assert_eq!(code(decode(bytes, "x")), "not-a-picture");
    }
}

/// A file that breaks off anywhere is an error, whatever could still be shown of it.
#[test]
fn cut_files_are_never_half_a_picture() {
    let files = [
        ("own.png", small_png(&[])),
        ("interlaced.png", sample!("interlaced.png").to_vec()),
        ("baseline.jpg", sample!("baseline.jpg").to_vec()),
        ("progressive.jpg", sample!("progressive.jpg").to_vec()),
        ("restart.jpg", sample!("restart.jpg").to_vec()),
        ("turned.jpg", sample!("turned.jpg").to_vec()),
        ("plain.tif", sample!("plain.tif").to_vec()),
        ("planes.tif", sample!("planes.tif").to_vec()),
        ("tiles.tif", sample!("tiles.tif").to_vec()),
        ("lzw.tif", sample!("lzw.tif").to_vec()),
        ("packbits.tif", sample!("packbits.tif").to_vec()),
        ("pages.tif", sample!("pages.tif").to_vec()),
    ];
    for (name, whole) in files {
        assert_eq!(code(decode(&whole, name)), "read", "{name}");
        let step = (whole.len() / 400).max(1);
        for length in (8..whole.len())
            .step_by(step)
            .chain(whole.len() - 8..whole.len())
        {
            let read = decode(&whole[..length], name);
            // A cut behind the page that is read takes nothing away from it.
            let allowed = name == "pages.tif" && read.is_ok();
            assert!(
                allowed || code(read) == "damaged",
                "{name} cut to {length} of {}",
                whole.len()
            );
        }
    }
}

/// The end marker alone does not make a picture whole. (What is missing within the last row of blocks, or within the
/// last scan of a progressive file, stays unseen.)
#[test]
fn cut_jpeg_files_with_an_end_put_on_are_damaged() {
    let (width, height) = (240_u32, 400_u32);
    let mut state = 1_u32;
    let noise: Vec<u8> = (0..3 * width * height)
        .map(|_| {
            state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
            (state >> 24) as u8
        })
        .collect();
    let mut whole = Vec::new();
    let encoder = image::codecs::jpeg::JpegEncoder::new_with_quality(&mut whole, 90);
    encoder
        .write_image(&noise, width, height, ExtendedColorType::Rgb8)
        .unwrap();
    assert_eq!(code(decode(&whole, "noise.jpg")), "read");
    let ended = |whole: &[u8], length: usize| {
        let mut cut = whole[..length].to_vec();
        if cut.last() == Some(&0xFF) {
            cut.pop();
        }
        cut.extend([0xFF, 0xD9]);
        code(decode(&cut, "cut.jpg"))
    };
    for hundredth in 1..97 {
        assert_eq!(
            ended(&whole, whole.len() * hundredth / 100),
            "damaged",
            "{hundredth}"
        );
    }
    let progressive = sample!("progressive.jpg");
    let last_scan = progressive
        .windows(2)
        .rposition(|pair| pair == [0xFF, 0xDA])
        .unwrap();
    for length in (20..last_scan).step_by(31) {
        assert_eq!(ended(progressive, length), "damaged", "{length}");
    }
}

#[test]
fn missing_middles_of_lossless_files_are_damaged() {
    let lzw = sample!("lzw.tif");
    for (name, whole) in [("own.png", small_png(&[])), ("lzw.tif", lzw.to_vec())] {
        let middle = whole.len() / 2;
        let mut bytes = whole;
        bytes.drain(middle..middle + 40);
        assert_eq!(code(decode(&bytes, name)), "damaged", "{name}");
    }
}

/// Sizes are refused from the header, before the pixels are asked for.
#[test]
fn sizes_beyond_the_limits_are_refused() {
    let with_size = |width: u32, height: u32, bits: u8| {
        let mut bytes = b"\x89PNG\r\n\x1a\n\0\0\0\x0dIHDR".to_vec();
        bytes.extend(width.to_be_bytes());
        bytes.extend(height.to_be_bytes());
        bytes.extend([bits, 2, 0, 0, 0]);
        let sum = crc(bytes[12..].iter());
        bytes.extend(sum.to_be_bytes());
        bytes.extend(b"\0\0\0\x04IDAT");
        decode(&bytes, "huge.png")
    };
    assert!(matches!(
        with_size(15_001, 10_000, 8),
        Err(Error::TooLarge {
            megapixels: 151,
            limit: 150,
            bits: 8
        })
    ));
    assert!(matches!(
        with_size(10_000, 8_001, 16),
        Err(Error::TooLarge {
            megapixels: 81,
            limit: 80,
            bits: 16
        })
    ));
    assert!(matches!(
        with_size(u32::MAX >> 1, u32::MAX >> 1, 16),
        Err(Error::TooLarge { .. })
    ));
    assert_eq!(code(with_size(0, 10, 8)), "damaged");
    assert_eq!(code(with_size(10, 10, 8)), "damaged");

    // A JPEG frame header of 65,500 by 65,500.
    let mut jpeg = sample!("baseline.jpg").to_vec();
    let frame = jpeg
        .windows(2)
        .position(|pair| pair == [0xFF, 0xC0])
        .unwrap();
    jpeg[frame + 5..frame + 9].copy_from_slice(&[0xFF, 0xDC, 0xFF, 0xDC]);
    assert!(matches!(
        decode(&jpeg, "huge.jpg"),
        Err(Error::TooLarge {
            megapixels: 4291,
            ..
        })
    ));
}

#[test]
fn a_damaged_or_foreign_profile_is_replaced_and_said() {
    let damaged = decode(&small_png(&[(b"iCCP", b"name\0\0not deflated")]), "x.png")
        .unwrap()
        .origin;
    assert_eq!(
        (damaged.profile.as_str(), damaged.profile_assumed),
        ("damaged: sRGB assumed", true)
    );
    assert_eq!(
        damaged.notes,
        ["The colour profile in the file is damaged; sRGB was assumed."]
    );

    let foreign = |icc: &[u8]| {
        let mut bytes = Vec::new();
        let mut encoder = PngEncoder::new(&mut bytes);
        encoder.set_icc_profile(icc.to_vec()).unwrap();
        encoder
            .write_image(
                &pattern(eight),
                WIDTH as u32,
                HEIGHT as u32,
                ExtendedColorType::Rgb8,
            )
            .unwrap();
        decode(&bytes, "x.png").unwrap().origin
    };
    assert_eq!(
        foreign(sample!("grey.icc")).profile,
        "for grey pictures: sRGB assumed"
    );
    assert_eq!(
        foreign(sample!("cmyk.icc")).profile,
        "for CMYK pictures: sRGB assumed"
    );
    assert_eq!(
        foreign(&sample!("matrix-wide.icc")[..300]).profile,
        "damaged: sRGB assumed"
    );
    assert_eq!(
        foreign(sample!("table-16.icc")).profile,
        "Table of 16 bits for testing"
    );
}

#[test]
fn png_chunks_describe_colours() {
    let gamma = 45_455_u32.to_be_bytes();
    let points = [
        31_270_u32, 32_900, 64_000, 33_000, 30_000, 60_000, 15_000, 6_000,
    ]
    .map(u32::to_be_bytes)
    .concat();
    let said = decode(
        &small_png(&[(b"gAMA", &gamma), (b"cHRM", &points)]),
        "x.png",
    )
    .unwrap();
    assert_eq!(
        said.origin.profile,
        "exponent 2.200 and chromaticities from the file"
    );
    let srgb = decode(
        &small_png(&[(b"gAMA", &gamma), (b"cHRM", &points), (b"sRGB", b"\0")]),
        "x.png",
    )
    .unwrap();
    assert_eq!(srgb.origin.profile, "sRGB");
    let half = decode(&small_png(&[(b"gAMA", &gamma)]), "x.png").unwrap();
    assert!(half.origin.profile_assumed);
    let absurd = decode(
        &small_png(&[(b"gAMA", &[0; 4]), (b"cHRM", &[0; 32])]),
        "x.png",
    )
    .unwrap();
    assert!(absurd.origin.profile_assumed);
}

#[test]
fn unbelievable_resolutions_are_dropped() {
    let with = |across: u32, down: u32, unit: u8| {
        let data = [
            across.to_be_bytes().as_slice(),
            &down.to_be_bytes(),
            &[unit],
        ]
        .concat();
        decode(&small_png(&[(b"pHYs", &data)]), "x.png")
            .unwrap()
            .origin
            .dpi
    };
    assert!(with(11_811, 11_811, 1).is_some());
    assert_eq!(with(11_811, 5_906, 1), None);
    assert_eq!(with(1, 1, 0), None);
    assert_eq!(with(1, 1, 1), None);
    assert_eq!(with(u32::MAX, u32::MAX, 1), None);
}

#[test]
fn white_is_put_behind_what_is_transparent() {
    let pixels = [[10_u8, 20, 30, 255], [10, 20, 30, 0], [0, 100, 200, 51]].concat();
    let scan = decode(
        &png_with(&pixels, ExtendedColorType::Rgba8, (3, 1), &[]),
        "x.png",
    )
    .unwrap();
    // 51 of 255 is a fifth.
    assert_eq!(
        scan.pixels,
        Pixels::Eight(vec![10, 20, 30, 255, 255, 255, 204, 224, 244])
    );
    assert_eq!(
        scan.origin.notes,
        ["Parts of the picture are transparent; white was put behind them."]
    );
    let opaque = decode(
        &png_with(&pixels[..4], ExtendedColorType::Rgba8, (1, 1), &[]),
        "x.png",
    )
    .unwrap();
    assert!(opaque.origin.notes.is_empty());
}

/// Alters a few bytes; the head of a file, which steers its reading, more often than the rest.
fn altered(whole: &[u8], changes: &[(prop::sample::Index, bool, u8)]) -> Vec<u8> {
    let mut bytes = whole.to_vec();
    for (place, head, value) in changes {
        let end = if *head {
            bytes.len().min(1024)
        } else {
            bytes.len()
        };
        bytes[place.index(end)] = *value;
    }
    bytes
}

fn changes() -> impl Strategy<Value = Vec<(prop::sample::Index, bool, u8)>> {
    proptest::collection::vec(
        (any::<prop::sample::Index>(), any::<bool>(), any::<u8>()),
        1..8,
    )
}

fn check_whole(scan: &Scan) {
    let length = match &scan.pixels {
        Pixels::Eight(values) => values.len(),
        Pixels::Sixteen(values) => values.len(),
    };
    assert_eq!(length, 3 * scan.width * scan.height);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    #[test]
    fn arbitrary_bytes_never_panic(start in 0..6_usize, rest in proptest::collection::vec(any::<u8>(), 0..300)) {
        let starts: [&[u8]; 6] = [b"", b"\x89PNG\r\n\x1a\n", b"\xFF\xD8\xFF", b"II*\0", b"MM\0*", b"II+\0"];
        let _ = decode(&[starts[start], &rest].concat(), "x");
    }

    #[test]
    fn altered_files_never_panic(
        file in prop::sample::select(vec![
            sample!("interlaced.png"), sample!("baseline.jpg"), sample!("progressive.jpg"), sample!("restart.jpg"),
            sample!("turned.jpg"), sample!("plain.tif"), sample!("planes.tif"), sample!("tiles.tif"), sample!("lzw.tif"),
            sample!("packbits.tif"), sample!("pages.tif"), sample!("infrared.tif"),
        ]),
        changes in changes(),
    ) {
        if let Ok(scan) = decode(&altered(file, &changes), "x") {
            check_whole(&scan);
        }
    }
}

#[test]
fn encoders_and_decoder_agree_on_sixteen_bits() {
    let values = pattern(sixteen);
    let mut bytes = Vec::new();
    let stored = bytemuck::cast_slice::<u16, u8>(&values);
    let encoder = image::codecs::tiff::TiffEncoder::new(Cursor::new(&mut bytes));
    encoder
        .write_image(
            stored,
            WIDTH as u32,
            HEIGHT as u32,
            ExtendedColorType::Rgb16,
        )
        .unwrap();
    assert_eq!(
        decode(&bytes, "x.tif").unwrap().pixels,
        Pixels::Sixteen(values.clone())
    );
    let bytes = png_with(
        stored,
        ExtendedColorType::Rgb16,
        (WIDTH as u32, HEIGHT as u32),
        &[],
    );
    assert_eq!(
        decode(&bytes, "x.png").unwrap().pixels,
        Pixels::Sixteen(values)
    );
}
