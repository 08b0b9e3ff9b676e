//! Any text as a pigment file; what is read predicts something finite.
#![no_main]

use libfuzzer_sys::fuzz_target;
use twoground::{
    colour::Lab,
    paint::Record,
    picture::{Film, Ground, Stack},
};

fuzz_target!(|text: &str| {
    let Ok(record) = Record::read(text) else {
        return;
    };
    let written = record.write();
    let again = Record::read(&written).expect("what was written can be read");
    assert_eq!(again.write(), written);
    if let Ok(constants) = record.constants() {
        let films = [Film { paint: 0, build: 1.0 }];
        let Ok(stack) = Stack::new(&[&constants], &films) else {
            return;
        };
        let seen = stack.over(&Ground::of(Lab::new(50.0, 0.0, 0.0)));
        let lab = seen.lab;
        assert!(lab.l.is_finite() && lab.a.is_finite() && lab.b.is_finite(), "{lab:?}");
    }
});
