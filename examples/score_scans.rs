//! Reads every scan of a folder that has a truth beside it and says how near the reading came: edges, cells, predictions.
//!
//! `cargo run --example score_scans -- FOLDER [--each]`. The scans come from `make_samples` and `make_trials`.

use std::{collections::BTreeMap, path::Path, time::Instant};

use serde_json::Value;
use twoground::{
    card::find,
    reading::{self, Answers},
    scan::decode,
};

#[path = "../tests/support/truth.rs"]
mod truth;

use truth::{Numbers, list, numbers, percentile, share, turned, worst_edges};

/// What came of one card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Found {
    /// Every edge within 1 mm and all counts right, no question asked.
    Right,
    /// Something is off or unsure, and the reader asked.
    Asked,
    /// Something is off and nothing was said.
    Wrong,
    /// No card, or no films: said so.
    Refused,
}

#[allow(clippy::print_stdout)]
fn main() {
    let mut arguments = std::env::args().skip(1);
    let folder = arguments
        .next()
        .expect("a folder with scans and their truth (.json)");
    let each = arguments.next().is_some();
    let mut files: Vec<_> = std::fs::read_dir(&folder)
        .expect("a folder")
        .filter_map(|e| Some(e.ok()?.path()))
        .filter(|p| {
            p.extension().is_some_and(|e| e != "json" && e != "md")
                && p.with_extension("json").exists()
        })
        .collect();
    files.sort();
    let mut found: BTreeMap<Found, usize> = BTreeMap::new();
    let mut pooled = Numbers::default();
    let mut spent = [0.0; 3];
    for path in &files {
        let truth: Value = serde_json::from_str(
            &std::fs::read_to_string(path.with_extension("json")).expect("truth"),
        )
        .expect("JSON");
        let card = &truth["cards"][0];
        let name = path
            .file_name()
            .map(|n| n.to_string_lossy().into_owned())
            .unwrap_or_default();
        let (what, line) = one(path, &name, card, &mut pooled, &mut spent);
        *found.entry(what).or_default() += 1;
        if each {
            println!(
                "{name} {:?} {line} [{}]",
                what,
                card["paint"].as_str().unwrap_or("")
            );
            if what == Found::Wrong || what == Found::Refused {
                println!("      {}", truth["troubles"]);
            }
        }
    }
    println!("{} scans: {found:?}", files.len());
    println!(
        "predictions: median {:.2} 95th {:.2}; range held {:.3}, median width {:.2}; cells: median {:.2} 95th {:.2}; K and S held {:.3}, builds held {:.3}",
        percentile(&pooled.errors, 0.5),
        percentile(&pooled.errors, 0.95),
        share(&pooled.held),
        percentile(&pooled.ranges, 0.5),
        percentile(&pooled.cells, 0.5),
        percentile(&pooled.cells, 0.95),
        share(&pooled.constants_held),
        share(&pooled.builds_held),
    );
    println!(
        "seconds: decode {:.2}, find {:.2}, sample and fit {:.2}",
        spent[0], spent[1], spent[2]
    );
}

fn one(
    path: &Path,
    name: &str,
    card: &Value,
    pooled: &mut Numbers,
    spent: &mut [f64; 3],
) -> (Found, String) {
    let bytes = std::fs::read(path).expect("a readable file");
    let start = Instant::now();
    let scan = match decode::decode(&bytes, name) {
        Ok(scan) => scan,
        Err(e) => return (Found::Refused, e.to_string()),
    };
    spent[0] += start.elapsed().as_secs_f64();
    let start = Instant::now();
    let layouts = find::find(&scan);
    spent[1] += start.elapsed().as_secs_f64();
    let layout = match layouts {
        Ok(mut layouts) if !layouts.is_empty() => layouts.swap_remove(0),
        Ok(_) => return (Found::Refused, "no layout".into()),
        Err(e) => return (Found::Refused, e.code().into()),
    };
    let turned = turned(&layout, card);
    let (films, stripes) = worst_edges(&layout, card);
    let right = films.is_some_and(|e| e < 1.0) && stripes.is_some_and(|e| e < 1.0);
    let asked = !layout.doubts.is_empty()
        || layout
            .films
            .iter()
            .any(|f| f.top.doubtful || f.bottom.doubtful);
    let what = match (right, asked) {
        (true, false) => Found::Right,
        (_, true) => Found::Asked,
        (false, false) => Found::Wrong,
    };
    let mut line = format!(
        "films {}/{} edges {films:.2?} stripes {stripes:.2?}",
        layout.films.len(),
        list(&card["films"]).len()
    );
    for d in &layout.doubts {
        line += &format!(" ?{}", d.code);
    }
    let start = Instant::now();
    let read = reading::read_card(&scan, &layout, &Answers::default());
    spent[2] += start.elapsed().as_secs_f64();
    match read {
        Ok(r) => {
            line += &format!(" {:?} {:?}", r.record.state, r.record.opacity.grade);
            if right {
                let before = (pooled.errors.len(), pooled.cells.len());
                numbers(&r, card, turned, pooled);
                line += &format!(
                    " error median {:.2} 95th {:.2} cells {:.2} held {:.2}",
                    percentile(&pooled.errors[before.0..], 0.5),
                    percentile(&pooled.errors[before.0..], 0.95),
                    percentile(&pooled.cells[before.1..], 0.95),
                    share(&pooled.held[before.0..])
                );
            }
        }
        Err(e) => line += &format!(" {e}"),
    }
    (what, line)
}
