//! Any text as a copy of the shelf: looked through beside an empty shelf and beside its own tubes, and brought in.
#![no_main]

use libfuzzer_sys::fuzz_target;
use twoground::shelf::copy::{self, Copy};

fuzz_target!(|text: &str| {
    let Ok(copy) = Copy::read(text) else {
        return;
    };
    let written = copy.write();
    let again = Copy::read(&written).expect("what was written can be read");
    assert_eq!(again.write(), written);
    let lines = copy.preview(&[], &[]);
    let wishes = copy::wishes(&lines, &[]);
    assert!(wishes.len() <= lines.len());
    let kept: Vec<_> = (1..).zip(&copy.tubes).map(|(id, tube)| (id, tube.pigment.get().to_owned())).collect();
    copy::wishes(&copy.preview(&kept, &[]), &[copy::Choice::Both; 4]);
});
