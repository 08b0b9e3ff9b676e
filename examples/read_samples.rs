//! Reads the sample scans and writes beside each what the page offers as a first try: `sample-scans/*.pigment.json`, and
//! the list of them, `sample-scans/samples.json`. To be run again whenever reading changes: `cargo run --example read_samples`.

use std::error::Error;
use std::fs;
use std::path::Path;

use serde_json::json;
use twoground::card::find;
use twoground::paint::file::ScannerKind;
use twoground::reading::{self, Answers};
use twoground::scan::decode;

/// In the order in which the page shows them: clear ones first, then milky, then covering.
const SCANS: [&str; 7] = [
    "lantern-gold.tif",
    "storm-blue.png",
    "kelp-green.jpg",
    "net-brown.jpg",
    "grey-earth.png",
    "cliff-rose.png",
    "foam-white.tif",
];

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let mut list = Vec::new();
    // Their simulated scanner sees as an eye does, so at least as well as any with white light.
    let scanner = ScannerKind::WhiteLight;
    let answers = Answers {
        scanner,
        ..Answers::default()
    };
    for file in SCANS {
        let scan = decode::decode(&fs::read(folder.join(file))?, file)?;
        let cards = find::find(&scan)?;
        let [card] = cards.as_slice() else {
            return Err(format!("{file} holds {} cards, not one", cards.len()).into());
        };
        let mut record = reading::read_card(&scan, card, &answers)?.record;
        let (name, _) = file.split_once('.').ok_or("a scan's name has an ending")?;
        record.paint.name = name.replace('-', " ");
        record.paint.notes = "Simulated: an invented paint.".into();
        let pigment = format!("{name}.pigment.json");
        fs::write(folder.join(&pigment), record.write())?;
        list.push(json!({"scan": file, "pigment": pigment, "scanner": scanner}));
    }
    fs::write(
        folder.join("samples.json"),
        serde_json::to_string_pretty(&list)? + "\n",
    )?;
    Ok(())
}
