//! Any text as the place of a card in a small scan, as the page gives it back when it is loaded again.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use twoground::{page::OpenScan, paint::Record};

/// 48 by 64 pixels.
static SCAN: LazyLock<&[u8]> = LazyLock::new(|| include_bytes!("../../data/scan/interlaced.png"));

fuzz_target!(|text: &str| {
    let mut open = OpenScan::new(&SCAN, "fuzzed", String::new(), false).expect("a picture");
    if open.use_layout(text).is_err() {
        return;
    }
    open.sample();
    open.fit();
    let given = open.layout();
    open.use_layout(&given).expect("what was given is taken");
    if let Ok(record) = open.record() {
        let text = record.write();
        assert_eq!(Record::read(&text).expect("what was written can be read").write(), text);
    }
    // A refusal is an answer; a panic is none.
    let _ = open.picture();
    let _ = open.view();
    let _ = open.add_film();
    let _ = open.move_edge(0, true, [10.0, 20.0]);
    let _ = open.take_away(0);
    open.sample();
});
