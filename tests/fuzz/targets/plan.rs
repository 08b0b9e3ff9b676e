//! Any text as a saved picture.
#![no_main]

use libfuzzer_sys::fuzz_target;
use twoground::picture::plan::Plan;

fuzz_target!(|text: &str| {
    if let Ok(plan) = Plan::read(text) {
        let written = plan.write();
        let again = Plan::read(&written).expect("what was written can be read");
        assert_eq!(again.write(), written);
    }
});
