//! Reads every scan of a folder that has a truth beside it and says how near the reading came: edges, cells, predictions.
//!
//! `cargo run --example score_scans -- FOLDER [--each]`. The scans come from `make_samples` and `make_trials`.

use std::{collections::BTreeMap, path::Path, time::Instant};

use serde_json::Value;
use twoground::{
    card::{Edge, FilmBand, Layout, Stripe, find, rectify::Frame},
    colour::{self, Lab},
    picture::{Film, Ground, Stack},
    reading::{self, Answers},
    scan::decode,
    spectrum::BANDS,
};

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

/// Numbers of one card that was read in the right places.
#[derive(Debug, Default)]
struct Numbers {
    errors: Vec<f64>,
    held: Vec<bool>,
    ranges: Vec<f64>,
    cells: Vec<f64>,
    constants_held: Vec<bool>,
    builds_held: Vec<bool>,
}

fn floats(v: &Value) -> Vec<f64> {
    v.as_array()
        .map(|a| a.iter().filter_map(Value::as_f64).collect())
        .unwrap_or_default()
}

fn list(v: &Value) -> &[Value] {
    v.as_array().map_or(&[], Vec::as_slice)
}

fn percentile(values: &[f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[(share * (sorted.len() - 1) as f64).round() as usize]
}

/// Whether the found corners are the true ones turned by half: which end is up cannot be seen.
fn turned(layout: &Layout, card: &Value) -> bool {
    let truth: Vec<Vec<f64>> = list(&card["corners"]).iter().map(floats).collect();
    let miss = |shift: usize| -> f64 {
        (0..4)
            .map(|i| {
                let (a, b) = (layout.corners[i], &truth[(i + shift) % 4]);
                (a[0] - b[0]).hypot(a[1] - b[1])
            })
            .sum()
    };
    miss(2) < miss(0)
}

/// The true layout, as the reader would have written it; films and stripes in the truth's own order.
fn true_layout(card: &Value) -> Layout {
    let pair = |v: &Value| -> [f64; 2] { floats(v).try_into().expect("two numbers") };
    let edge = |v: &Value| Edge {
        left: v["left"].as_f64().expect("mm"),
        right: v["right"].as_f64().expect("mm"),
        doubtful: false,
    };
    let corners: Vec<[f64; 2]> = list(&card["corners"]).iter().map(pair).collect();
    Layout {
        corners: corners.try_into().expect("four corners"),
        size: pair(&card["size"]),
        millimetres: true,
        stripes: serde_json::from_value(card["stripes"].clone()).expect("stripes"),
        films: list(&card["films"])
            .iter()
            .map(|f| FilmBand {
                top: edge(&f["top"]),
                bottom: edge(&f["bottom"]),
            })
            .collect(),
        doubts: Vec::new(),
    }
}

/// Points of all film edges, at both ends of the outermost black stripes, in pixels of the scan.
fn film_points(layout: &Layout) -> Vec<[f64; 2]> {
    let frame = Frame::of(layout).expect("four corners of a card");
    let [width, _] = layout.size;
    let blacks: Vec<&Stripe> = layout
        .stripes
        .iter()
        .filter(|s| s.ground == twoground::card::Ground::Black)
        .collect();
    let (Some(first), Some(last)) = (blacks.first(), blacks.last()) else {
        return Vec::new();
    };
    layout
        .films
        .iter()
        .flat_map(|f| [f.top, f.bottom])
        .flat_map(|e| [first.from, last.to].map(|u| [u, e.left + (e.right - e.left) * u / width]))
        .map(|p| frame.to_scan(p))
        .collect()
}

/// Middles of the edges of all black stripes, in pixels of the scan.
fn stripe_points(layout: &Layout) -> Vec<[f64; 2]> {
    let frame = Frame::of(layout).expect("four corners of a card");
    layout
        .stripes
        .iter()
        .filter(|s| s.ground == twoground::card::Ground::Black)
        .flat_map(|s| [s.from, s.to])
        .map(|u| frame.to_scan([u, 0.5 * layout.size[1]]))
        .collect()
}

/// Largest distance between points of two lists of equal length, measured along `across` (a unit vector), in mm.
fn worst(
    ours: &[[f64; 2]],
    theirs: &[[f64; 2]],
    turned: bool,
    along: [f64; 2],
    per_mm: f64,
) -> Option<f64> {
    if ours.len() != theirs.len() {
        return None;
    }
    let n = theirs.len();
    let far = |i: usize| {
        let t = theirs[if turned { n - 1 - i } else { i }];
        ((ours[i][0] - t[0]) * along[0] + (ours[i][1] - t[1]) * along[1]).abs() / per_mm
    };
    Some((0..n).map(far).fold(0.0, f64::max))
}

fn numbers(reading: &reading::Reading, card: &Value, turned: bool, numbers: &mut Numbers) {
    let films = list(&card["films"]);
    let true_film = |i: usize| if turned { films.len() - 1 - i } else { i };
    let build = |i: usize| films[true_film(i)]["build"].as_f64().unwrap_or(f64::NAN);
    for cell in &reading.record.cells {
        for truth in list(&card["cells"]) {
            let ground = serde_json::to_value(cell.ground).unwrap_or_default();
            if truth["film"].as_u64() == Some(true_film(cell.film) as u64)
                && truth["ground"] == ground
            {
                let t = floats(&truth["drawn_xyz"]);
                let lab = |v: &[f64]| colour::lab(colour::Xyz::new(v[0], v[1], v[2]));
                numbers
                    .cells
                    .push(colour::difference(lab(&cell.xyz), lab(&t)));
            }
        }
    }
    let Ok(constants) = reading.record.constants() else {
        return;
    };
    let reference = reading.record.reference_film;
    let unit = build(reference);
    for (i, film) in reading
        .record
        .films
        .iter()
        .enumerate()
        .filter(|(i, _)| *i != reference)
    {
        let truth = build(i) / unit;
        let sd = film.build_sd / film.build;
        numbers
            .builds_held
            .push((film.build / truth).ln().abs() < 1.645 * sd);
    }
    let (k, s) = (floats(&card["absorption"]), floats(&card["scattering"]));
    for b in 0..BANDS {
        let u = &reading.record.uncertainty;
        numbers.constants_held.push(
            (constants.absorption[b] / (k[b] * unit)).ln().abs() < 1.645 * u.log_absorption_sd[b],
        );
        numbers.constants_held.push(
            (constants.scattering[b] / (s[b] * unit)).ln().abs() < 1.645 * u.log_scattering_sd[b],
        );
    }
    let grounds: Vec<Ground> = list(&card["grounds"])
        .iter()
        .map(|g| {
            let l = floats(&g["lab"]);
            Ground::of(Lab::new(l[0], l[1], l[2]))
        })
        .collect();
    for over in list(&card["over_grounds"]) {
        let x = over["build"].as_f64().unwrap_or(1.0) / unit;
        let Ok(stack) = Stack::new(&[&constants], &[Film { paint: 0, build: x }]) else {
            continue;
        };
        for (ground, truth) in grounds.iter().zip(list(&over["lab"])) {
            let t = floats(truth);
            let predicted = stack.over(ground);
            let error = colour::difference(predicted.lab, Lab::new(t[0], t[1], t[2]));
            numbers.errors.push(error);
            numbers.held.push(error <= predicted.range);
            numbers.ranges.push(predicted.range);
        }
    }
}

fn share(held: &[bool]) -> f64 {
    held.iter().filter(|h| **h).count() as f64 / held.len().max(1) as f64
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
    let truth = true_layout(card);
    // Directions along and across the stripes, and pixels a mm, from the true corners.
    let [top_left, top_right, _, bottom_left] = truth.corners;
    let unit = |a: [f64; 2], b: [f64; 2]| {
        let (x, y) = (b[0] - a[0], b[1] - a[1]);
        let length = x.hypot(y);
        ([x / length, y / length], length)
    };
    let (across, _) = unit(top_left, top_right);
    let (along, length) = unit(top_left, bottom_left);
    let per_mm = length / truth.size[1];
    let films = worst(
        &film_points(&layout),
        &film_points(&truth),
        turned,
        along,
        per_mm,
    );
    let stripes = worst(
        &stripe_points(&layout),
        &stripe_points(&truth),
        turned,
        across,
        per_mm,
    );
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
