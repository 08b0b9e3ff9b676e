//! Any bytes as a picture: decoded whole, or refused.
#![no_main]

use libfuzzer_sys::fuzz_target;
use twoground::scan::{Pixels, decode};

fuzz_target!(|bytes: &[u8]| {
    let Ok(scan) = decode::decode(bytes, "fuzzed") else {
        return;
    };
    let length = match &scan.pixels {
        Pixels::Eight(values) => values.len(),
        Pixels::Sixteen(values) => values.len(),
    };
    assert_eq!(length, 3 * scan.width * scan.height);
});
