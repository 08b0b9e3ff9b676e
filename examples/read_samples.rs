//! Reads the sample scans and writes beside each what the page offers as a first try: `sample-scans/*.pigment.json`, and
//! the list of them, `sample-scans/samples.json`. To be run again whenever reading changes: `cargo run --example read_samples`.

use std::error::Error;
use std::fs;
use std::path::Path;

use serde_json::{Value, json};
use twoground::card::find;
use twoground::colour::Lab;
use twoground::paint::file::{Grade, Record, ScannerKind};
use twoground::picture::{Ground, film_over};
use twoground::reading::{self, Answers};
use twoground::scan::decode;

/// Every scan, and the paints of its cards in reading order.
const SCANS: [(&str, &[&str]); 9] = [
    ("lantern-gold.tif", &["lantern gold"]),
    ("storm-blue.png", &["storm blue"]),
    ("kelp-green.jpg", &["kelp green"]),
    ("net-brown.jpg", &["net brown"]),
    ("grey-earth.png", &["grey earth"]),
    ("cliff-rose.png", &["cliff rose"]),
    ("foam-white.tif", &["foam white"]),
    ("weed-amber.jpg", &["weed amber"]),
    (
        "three-cards.jpg",
        &["ink green", "rope ochre", "dune yellow"],
    ),
];

/// A paint that was read.
struct Read {
    entry: Value,
    /// Whether its scan holds other cards too.
    shared: bool,
    grade: Option<Grade>,
    /// Median range of its thinnest film over greys.
    range: f64,
}

fn main() -> Result<(), Box<dyn Error>> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans");
    let mut all = Vec::new();
    // Their simulated scanner sees as an eye does, so at least as well as any with white light.
    let scanner = ScannerKind::WhiteLight;
    let answers = Answers {
        scanner,
        ..Answers::default()
    };
    for (file, paints) in SCANS {
        let scan = decode::decode(&fs::read(folder.join(file))?, file)?;
        let cards = find::find(&scan)?;
        if cards.len() != paints.len() {
            return Err(format!("{file} holds {} cards, not {}", cards.len(), paints.len()).into());
        }
        for (number, (card, name)) in cards.iter().zip(paints).enumerate() {
            let mut record = reading::read_card(&scan, card, &answers)?.record;
            record.paint.name = (*name).to_owned();
            record.paint.notes = "Simulated: an invented paint.".into();
            let pigment = format!("{}.pigment.json", name.replace(' ', "-"));
            fs::write(folder.join(&pigment), record.write())?;
            eprintln!(
                "{name} {:?} {:.2} {:?}",
                record.opacity.grade,
                range(&record)?,
                record.state
            );
            all.push(Read {
                entry: json!({"scan": file, "card": number, "pigment": pigment, "scanner": scanner}),
                shared: paints.len() > 1,
                grade: record.opacity.grade,
                range: range(&record)?,
            });
        }
    }
    // The page shows them in this order: first the surest of those that glaze clean, which is what the first screen is about.
    let clean = |read: &Read| read.grade == Some(Grade::Clear);
    all.sort_by(|a, b| {
        let first = |read: &Read| (read.shared, !clean(read));
        first(a).cmp(&first(b)).then(a.range.total_cmp(&b.range))
    });
    let list: Vec<&Value> = all.iter().map(|read| &read.entry).collect();
    fs::write(
        folder.join("samples.json"),
        serde_json::to_string_pretty(&list)? + "\n",
    )?;
    Ok(())
}

/// Median range of the thinnest film over greys from black to white.
fn range(record: &Record) -> Result<f64, Box<dyn Error>> {
    let constants = record.constants()?;
    let builds = record.films.iter().map(|film| film.build);
    let thinnest = builds.fold(f64::INFINITY, f64::min);
    let mut ranges = Vec::new();
    for lightness in [20.0, 35.0, 50.0, 65.0, 80.0, 95.0, 10.0] {
        let grey = Ground::of(Lab::new(lightness, 0.0, 0.0));
        ranges.push(film_over(&constants, thinnest, &grey)?.range);
    }
    ranges.sort_by(f64::total_cmp);
    Ok(ranges[ranges.len() / 2])
}
