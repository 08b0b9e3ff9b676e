//! Codes of one kind only (ISO/IEC 18004, version 3, level M, one stretch of bytes): written by `qrcode`, read here.
//!
//! Reading whatever any code may say would take a table of 64 kB and a dozen modes into the page for nothing.

use qrcode::{Color, EcLevel, QrCode, Version, bits::Bits};

use super::{CAPACITY, MODULES, VERSION};
use crate::{Error, Result};

/// Codewords of the version, and how many of them are for correction at level M (ISO/IEC 18004, table 9).
const WORDS: usize = 70;
const SPARE: usize = 26;

/// Modules of a code row by row, true where dark.
///
/// # Errors
/// When the text is longer than a code holds.
pub(super) fn write(text: &str) -> Result<Vec<bool>> {
    let (version, level) = (Version::Normal(VERSION), EcLevel::M);
    let mut bits = Bits::new(version);
    bits.push_byte_data(text.as_bytes())
        .and_then(|()| bits.push_terminator(level))
        .and_then(|()| QrCode::with_bits(bits, level))
        .map(|code| {
            code.to_colors()
                .into_iter()
                .map(|c| c == Color::Dark)
                .collect()
        })
        .map_err(|error| Error::Outside {
            what: "The card’s code",
            doing: "could not be drawn",
            reason: error.to_string(),
        })
}

/// The text of a code, with up to thirteen spoilt codewords. `dark` tells column and row.
pub(super) fn read(dark: impl Fn(usize, usize) -> bool) -> Option<String> {
    // Which of the eight masks it is, is told by the correction: only the right one comes out.
    (0..8).find_map(|mask| {
        let mut words = words(&dark, mask);
        correct(&mut words).then_some(())?;
        let mut bits = words
            .iter()
            .flat_map(|word| (0..8).rev().map(move |i| word >> i & 1));
        let mut take = |count: usize| {
            bits.by_ref()
                .take(count)
                .fold(0_usize, |v, bit| 2 * v + usize::from(bit))
        };
        // Mode 4 is bytes; their count takes eight bits up to version 9.
        (take(4) == 4).then_some(())?;
        let count = Some(take(8)).filter(|&count| count <= CAPACITY)?;
        let bytes = (0..count).map(|_| take(8) as u8).collect();
        String::from_utf8(bytes).ok()
    })
}

/// Whether a module is no data: finders with their separators and the format beside them, timing, the one alignment pattern.
fn fixed(x: usize, y: usize) -> bool {
    let far = MODULES - 8;
    let corner = (y < 9 && (x < 9 || x >= far)) || (x < 9 && y >= far);
    let aligned =
        (MODULES - 9..MODULES - 4).contains(&x) && (MODULES - 9..MODULES - 4).contains(&y);
    corner || aligned || x == 6 || y == 6
}

/// Codewords in order: pairs of columns from the right, first upwards, then downwards.
fn words(dark: &impl Fn(usize, usize) -> bool, mask: usize) -> [u8; WORDS] {
    let masked = |x: usize, y: usize| match mask {
        0 => (x + y).is_multiple_of(2),
        1 => y.is_multiple_of(2),
        2 => x.is_multiple_of(3),
        3 => (x + y).is_multiple_of(3),
        4 => (y / 2 + x / 3).is_multiple_of(2),
        5 => x * y % 2 + x * y % 3 == 0,
        6 => (x * y % 2 + x * y % 3).is_multiple_of(2),
        _ => ((x + y) % 2 + x * y % 3).is_multiple_of(2),
    };
    let mut words = [0; WORDS];
    let mut bit = 0;
    let mut right = MODULES as isize - 1;
    let mut up = true;
    while right > 0 {
        // The upright timing pattern has a column of its own.
        if right == 6 {
            right -= 1;
        }
        for step in 0..MODULES {
            let y = if up { MODULES - 1 - step } else { step };
            for x in [right as usize, right as usize - 1] {
                if !fixed(x, y) && bit < 8 * WORDS {
                    let value = dark(x, y) != masked(x, y);
                    words[bit / 8] |= u8::from(value) << (7 - bit % 8);
                    bit += 1;
                }
            }
        }
        up = !up;
        right -= 2;
    }
    words
}

/// The field of 256 elements with x^8 + x^4 + x^3 + x^2 + 1 (ISO/IEC 18004, 7.5.2): powers of 2, and logarithms.
struct Field {
    power: [u8; 255],
    log: [u8; 256],
}

impl Field {
    const fn new() -> Self {
        let (mut power, mut log) = ([0; 255], [0; 256]);
        let mut value: u16 = 1;
        let mut i = 0;
        while i < 255 {
            power[i] = value as u8;
            log[value as usize] = i as u8;
            value <<= 1;
            if value > 255 {
                value ^= 0x11d;
            }
            i += 1;
        }
        Self { power, log }
    }

    fn power(&self, exponent: usize) -> u8 {
        self.power[exponent % 255]
    }

    fn times(&self, a: u8, b: u8) -> u8 {
        if a == 0 || b == 0 {
            return 0;
        }
        self.power(usize::from(self.log[usize::from(a)]) + usize::from(self.log[usize::from(b)]))
    }

    fn over(&self, a: u8, b: u8) -> u8 {
        if a == 0 {
            return 0;
        }
        self.power(
            usize::from(self.log[usize::from(a)]) + 255 - usize::from(self.log[usize::from(b)]),
        )
    }

    /// A polynomial, lowest term first, at a place.
    fn at(&self, polynomial: &[u8], place: u8) -> u8 {
        polynomial
            .iter()
            .rev()
            .fold(0, |sum, &term| self.times(sum, place) ^ term)
    }
}

static FIELD: Field = Field::new();

/// What is left of a Reed-Solomon word at the roots of its generator: zeros if nothing is spoilt.
fn syndromes(words: &[u8; WORDS]) -> [u8; SPARE] {
    std::array::from_fn(|i| {
        let root = FIELD.power(i);
        words
            .iter()
            .fold(0, |sum, &word| FIELD.times(sum, root) ^ word)
    })
}

/// Corrects a word, by Berlekamp and Massey, Chien, and Forney (Blahut, Algebraic Codes for Data Transmission, 2003, chapter
/// 7). Whether it is right then.
fn correct(words: &mut [u8; WORDS]) -> bool {
    let left = syndromes(words);
    if left == [0; SPARE] {
        return true;
    }
    let (mut locator, mut before) = (vec![1_u8], vec![1_u8]);
    let (mut errors, mut shift, mut last) = (0, 1, 1_u8);
    for n in 0..SPARE {
        let mut gap = left[n];
        for i in 1..=errors.min(locator.len() - 1) {
            gap ^= FIELD.times(locator[i], left[n - i]);
        }
        if gap == 0 {
            shift += 1;
            continue;
        }
        let old = locator.clone();
        let factor = FIELD.over(gap, last);
        locator.resize(locator.len().max(before.len() + shift), 0);
        for (i, &term) in before.iter().enumerate() {
            locator[i + shift] ^= FIELD.times(factor, term);
        }
        if 2 * errors <= n {
            errors = n + 1 - errors;
            before = old;
            last = gap;
            shift = 1;
        } else {
            shift += 1;
        }
    }
    if errors > SPARE / 2 {
        return false;
    }
    let product: Vec<u8> = (0..SPARE)
        .map(|n| {
            (0..=n.min(locator.len() - 1))
                .fold(0, |sum, i| sum ^ FIELD.times(locator[i], left[n - i]))
        })
        .collect();
    let slope: Vec<u8> = (1..locator.len())
        .map(|i| if i % 2 == 1 { locator[i] } else { 0 })
        .collect();
    for place in 0..WORDS {
        let inverse = FIELD.power(255 - place);
        if FIELD.at(&locator, inverse) != 0 {
            continue;
        }
        let down = FIELD.at(&slope, inverse);
        if down == 0 {
            return false;
        }
        let value = FIELD.over(FIELD.at(&product, inverse), down);
        words[WORDS - 1 - place] ^= FIELD.times(value, FIELD.power(place));
    }
    syndromes(words) == [0; SPARE]
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    proptest! {
        /// What another program wrote is read, also with a stain over it, or refused; never read as something else.
        #[test]
        fn a_code_is_read_with_a_stain_or_refused(text in "[ -~]{0,42}", at in (0..MODULES, 0..MODULES), side in 0..12_usize) {
            let code = write(&text).unwrap();
            let stained = |x: usize, y: usize| {
                (at.0..at.0 + side).contains(&x) && (at.1..at.1 + side).contains(&y) || code[y * MODULES + x]
            };
            let back = read(stained);
            prop_assert!(back.as_ref().is_none_or(|back| *back == text), "{:?}", back);
            // Nine codewords at most lie under a square of six modules and a bit (8 modules each).
            if side <= 6 {
                prop_assert_eq!(back, Some(text));
            }
        }

        /// Whatever stands where a code is looked for, nothing longer than a code holds comes out, and of chance mostly nothing.
        #[test]
        fn any_modules_are_read_or_refused(modules in prop::collection::vec(any::<bool>(), MODULES * MODULES), spoilt in prop::collection::vec((0..MODULES * MODULES, any::<bool>()), 0..400)) {
            let _ = read(|x, y| modules[y * MODULES + x]);
            let mut code = write("2G1:42:0:Rose").unwrap();
            spoilt.into_iter().for_each(|(at, dark)| code[at] = dark);
            prop_assert!(read(|x, y| code[y * MODULES + x]).is_none_or(|text| text.len() <= CAPACITY));
        }
    }

    #[test]
    fn thirteen_spoilt_codewords_are_mended_and_fourteen_refused() {
        let code = write("2G1:42:0:Rose").unwrap();
        let right = (0..8)
            .map(|mask| words(&|x, y| code[y * MODULES + x], mask))
            .find(|words| syndromes(words) == [0; SPARE])
            .expect("one mask is right");
        let spoilt = |count: usize| {
            let mut words = right;
            (0..count).for_each(|i| words[5 * i] ^= (17 * i + 1) as u8);
            words
        };
        let mut words = spoilt(13);
        assert!(correct(&mut words) && words == right);
        assert!(!correct(&mut spoilt(14)));
    }
}
