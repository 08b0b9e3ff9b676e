//! Any bytes as a scan: decoded, its cards looked for and read, or refused.
#![no_main]

use libfuzzer_sys::fuzz_target;
use twoground::{card::print, reading, scan::decode};

fuzz_target!(|bytes: &[u8]| {
    let Ok(scan) = decode::decode(bytes, "fuzzed") else {
        return;
    };
    // Large ones only cost time.
    if scan.width * scan.height > 1 << 18 {
        return;
    }
    for found in print::find(&scan).unwrap_or_default() {
        if let Ok(read) = reading::read_card(&scan, &found.layout, &reading::Answers::default()) {
            let text = read.record.write();
            let again = twoground::paint::Record::read(&text).expect("what was written can be read");
            assert_eq!(again.write(), text);
        }
    }
});
