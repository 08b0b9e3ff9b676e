//! The sample scans that come with the page, as `sample-scans/samples.json` lists them.

use std::fs;
use std::path::{Path, PathBuf};

/// One sample.
pub(crate) struct Sample {
    /// The scan.
    pub(crate) scan: PathBuf,
    /// Which of its cards, from 0.
    pub(crate) card: usize,
    /// The pigment file that was read from it.
    pub(crate) pigment: PathBuf,
    /// What scanned it, as the command line names it.
    pub(crate) scanner: String,
}

/// All of them, at least five.
pub(crate) fn samples() -> Vec<Sample> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let list = fs::read_to_string(folder.join("samples.json")).expect("the list of samples");
    let list: serde_json::Value = serde_json::from_str(&list).expect("the list is JSON");
    let samples: Vec<Sample> = list
        .as_array()
        .expect("a list")
        .iter()
        .map(|sample| {
            let [scan, pigment] = ["scan", "pigment"]
                .map(|key| folder.join(sample[key].as_str().expect("a file's name")));
            let scanner = sample["scanner"]
                .as_str()
                .expect("a kind")
                .replace('_', "-");
            let card = sample["card"].as_u64().expect("a number") as usize;
            Sample {
                scan,
                card,
                pigment,
                scanner,
            }
        })
        .collect();
    assert!(samples.len() >= 5, "only {} samples", samples.len());
    samples
}
