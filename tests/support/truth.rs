//! A rendered scan's truth beside what was read from it.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use serde_json::Value;
use twoground::{
    card::{Edge, FilmBand, Layout, Stripe, rectify::Frame},
    colour::{self, Lab},
    picture::{Film, Ground, Stack},
    reading,
    spectrum::BANDS,
};

/// Numbers of one card that was read in the right places.
#[derive(Debug, Default)]
pub struct Numbers {
    pub errors: Vec<f64>,
    pub held: Vec<bool>,
    pub ranges: Vec<f64>,
    /// Of every prediction: the build in films of the card's unit, and whether the ground has a colour.
    pub over: Vec<(f64, bool)>,
    /// CIEDE2000 between cells and what was drawn, both as shares of their own white.
    pub cells: Vec<f64>,
    /// Whether they lie within their 90 % range, by X, Y, Z.
    pub cells_held: Vec<bool>,
    pub constants_held: Vec<bool>,
    pub builds_held: Vec<bool>,
}

pub fn floats(v: &Value) -> Vec<f64> {
    v.as_array()
        .map(|a| a.iter().filter_map(Value::as_f64).collect())
        .unwrap_or_default()
}

pub fn list(v: &Value) -> &[Value] {
    v.as_array().map_or(&[], Vec::as_slice)
}

pub fn percentile(values: &[f64], share: f64) -> f64 {
    if values.is_empty() {
        return f64::NAN;
    }
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted[(share * (sorted.len() - 1) as f64).round() as usize]
}

/// Whether the found corners are the true ones turned by half: which end is up cannot be seen.
pub fn turned(layout: &Layout, card: &Value) -> bool {
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
pub fn true_layout(card: &Value) -> Layout {
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
                brushed: false,
            })
            .collect(),
        doubts: Vec::new(),
    }
}

/// Points of all film edges, at both ends of the outermost black stripes, in pixels of the scan.
pub fn film_points(layout: &Layout) -> Vec<[f64; 2]> {
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
pub fn stripe_points(layout: &Layout) -> Vec<[f64; 2]> {
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
pub fn worst(
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

pub fn numbers(reading: &reading::Reading, card: &Value, turned: bool, numbers: &mut Numbers) {
    let films = list(&card["films"]);
    let true_film = |i: usize| if turned { films.len() - 1 - i } else { i };
    let build = |i: usize| films[true_film(i)]["build"].as_f64().unwrap_or(f64::NAN);
    // A scanner's level is not known and hardly matters: cells are compared as shares of the white stripe.
    let level = floats(&card["white_xyz"])[1] / reading.sampled.white.xyz[1];
    for cell in &reading.record.cells {
        for truth in list(&card["cells"]) {
            let ground = serde_json::to_value(cell.ground).unwrap_or_default();
            if truth["film"].as_u64() == Some(true_film(cell.film) as u64)
                && truth["ground"] == ground
            {
                let t = floats(&truth["drawn_xyz"]);
                let seen = cell.xyz.map(|v| level * v);
                let lab = |v: &[f64]| colour::lab(colour::Xyz::new(v[0], v[1], v[2]));
                numbers.cells.push(colour::difference(lab(&seen), lab(&t)));
                for axis in 0..3 {
                    numbers
                        .cells_held
                        .push((seen[axis] - t[axis]).abs() < 1.645 * level * cell.sd[axis]);
                }
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
            numbers
                .over
                .push((x, ground.lab.a.hypot(ground.lab.b) > 5.0));
        }
    }
}

pub fn share(held: &[bool]) -> f64 {
    held.iter().filter(|h| **h).count() as f64 / held.len().max(1) as f64
}

/// Largest distance of a film edge and of a stripe edge from the truth, in mm; `None` where the counts differ.
pub fn worst_edges(layout: &Layout, card: &Value) -> (Option<f64>, Option<f64>) {
    let turned = turned(layout, card);
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
        &film_points(layout),
        &film_points(&truth),
        turned,
        along,
        per_mm,
    );
    let stripes = worst(
        &stripe_points(layout),
        &stripe_points(&truth),
        turned,
        across,
        per_mm,
    );
    (films, stripes)
}
