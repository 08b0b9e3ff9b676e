//! Pictures of a few kB that would become gigabytes, or lie about what is in them.

use std::io::Write;

use flate2::{Compression, write::ZlibEncoder};

/// One of them.
pub(crate) struct Bomb {
    pub(crate) name: &'static str,
    pub(crate) bytes: Vec<u8>,
    /// Words of the sentence that it is refused with.
    pub(crate) words: &'static str,
}

/// Zeros that a bomb becomes, in bytes: more than the tests allow a program to take.
const BECOMES: usize = 1 << 30;

/// All of them.
pub(crate) fn all() -> Vec<Bomb> {
    let zeros = deflated_zeros();
    let bomb = |name, bytes, words| Bomb { name, bytes, words };
    let damaged = "damaged or cut short";
    let none = "No card was found";
    let with =
        |name: &[u8; 4], head: &[u8]| png(&[(name, [head, zeros.as_slice()].concat())], &pixels());
    vec![
        bomb("pixels.png", png(&[], &zeros), none),
        bomb("profile.png", with(b"iCCP", b"name\0\0"), none),
        bomb("text.png", with(b"zTXt", b"Comment\0\0"), none),
        bomb("words.png", with(b"iTXt", b"Comment\0\x01\0\0\0"), none),
        bomb(
            "strip.tif",
            tiff(&[(STRIP_BYTES, LONG, 1, 0xffff_fff0)]),
            damaged,
        ),
        bomb(
            "strips.tif",
            tiff(&[(STRIP_BYTES, LONG, u32::MAX, 8)]),
            damaged,
        ),
        bomb(
            "offset.tif",
            tiff(&[(STRIP_AT, LONG, 1, 0xffff_fff0)]),
            damaged,
        ),
        bomb("profile.tif", tiff(&[(ICC, BYTE, u32::MAX, 8)]), none),
        bomb("bits.tif", tiff(&[(BITS, SHORT, u32::MAX, 8)]), damaged),
        bomb(
            "wide.tif",
            tiff(&[(WIDTH, LONG, 1, u32::MAX)]),
            "megapixels",
        ),
        bomb("loop.tif", looped(), damaged),
        bomb("vast.jpg", vast_jpeg(), "megapixels"),
    ]
}

fn deflated_zeros() -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
    let zeros = vec![0; 1 << 20];
    for _ in 0..BECOMES >> 20 {
        encoder.write_all(&zeros).expect("memory takes it");
    }
    encoder.finish().expect("memory takes it")
}

/// Rows of a black picture of 64 by 48, deflated.
fn pixels() -> Vec<u8> {
    let mut encoder = ZlibEncoder::new(Vec::new(), Compression::fast());
    encoder
        .write_all(&[0; (1 + 3 * 64) * 48])
        .expect("memory takes it");
    encoder.finish().expect("memory takes it")
}

/// A PNG of 64 by 48 pixels (Portable Network Graphics, third edition, 5 and 11).
fn png(more: &[(&[u8; 4], Vec<u8>)], data: &[u8]) -> Vec<u8> {
    let mut bytes = b"\x89PNG\r\n\x1a\n".to_vec();
    let head = [
        &64_u32.to_be_bytes()[..],
        &48_u32.to_be_bytes(),
        &[8, 2, 0, 0, 0],
    ]
    .concat();
    chunk(&mut bytes, b"IHDR", &head);
    for (name, data) in more {
        chunk(&mut bytes, name, data);
    }
    chunk(&mut bytes, b"IDAT", data);
    chunk(&mut bytes, b"IEND", &[]);
    bytes
}

fn chunk(bytes: &mut Vec<u8>, name: &[u8; 4], data: &[u8]) {
    let mut sum = flate2::Crc::new();
    sum.update(name);
    sum.update(data);
    bytes.extend((data.len() as u32).to_be_bytes());
    bytes.extend(name);
    bytes.extend(data);
    bytes.extend(sum.sum().to_be_bytes());
}

// Tags and types (TIFF 6.0, part 1; ICC.1:2022, B.4).
const WIDTH: u16 = 256;
const BITS: u16 = 258;
const STRIP_AT: u16 = 273;
const STRIP_BYTES: u16 = 279;
const ICC: u16 = 34_675;
const BYTE: u16 = 7;
const SHORT: u16 = 3;
const LONG: u16 = 4;

type Entry = (u16, u16, u32, u32);

/// A black TIFF of 64 by 48 pixels, 8 bits a channel, with these entries instead of its own.
fn tiff(lies: &[Entry]) -> Vec<u8> {
    const PIXELS: u32 = 3 * 64 * 48;
    let mut entries: Vec<Entry> = vec![
        (WIDTH, LONG, 1, 64),
        (257, LONG, 1, 48),
        (BITS, SHORT, 3, 8),
        (259, SHORT, 1, 1),
        (262, SHORT, 1, 2),
        (STRIP_AT, LONG, 1, 16),
        (277, SHORT, 1, 3),
        (278, LONG, 1, 48),
        (STRIP_BYTES, LONG, 1, PIXELS),
    ];
    for lie in lies {
        entries.retain(|entry| entry.0 != lie.0);
        entries.push(*lie);
    }
    entries.sort();
    let mut bytes = b"II*\0".to_vec();
    bytes.extend((16 + PIXELS).to_le_bytes());
    // Three times 8, for the bits.
    bytes.extend([8, 0, 8, 0, 8, 0, 0, 0]);
    bytes.resize(16 + PIXELS as usize, 0);
    bytes.extend((entries.len() as u16).to_le_bytes());
    for (tag, kind, count, value) in entries {
        bytes.extend(tag.to_le_bytes());
        bytes.extend(kind.to_le_bytes());
        bytes.extend(count.to_le_bytes());
        bytes.extend(value.to_le_bytes());
    }
    bytes.extend([0; 4]);
    bytes
}

/// The page after the first is the first.
fn looped() -> Vec<u8> {
    let mut bytes = tiff(&[]);
    let first: [u8; 4] = bytes[4..8].try_into().expect("four bytes");
    let end = bytes.len();
    bytes[end - 4..].copy_from_slice(&first);
    bytes
}

/// A JPEG whose frame says 65,500 by 65,500 (ITU-T T.81, B.2.2).
fn vast_jpeg() -> Vec<u8> {
    let mut bytes = include_bytes!("../data/scan/baseline.jpg").to_vec();
    let frame = bytes
        .windows(2)
        .position(|pair| pair == [0xFF, 0xC0])
        .expect("a frame");
    bytes[frame + 5..frame + 9].copy_from_slice(&[0xFF, 0xDC, 0xFF, 0xDC]);
    bytes
}
