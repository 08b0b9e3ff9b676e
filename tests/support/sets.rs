//! The development sets: invented paints seen on a card through exact light transport, and the colours of the same films
//! over thirty grounds that the card never saw. `tests/data/sets/README.md` says how they were made.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use serde_json::Value;
use twoground::{
    colour::{Lab, Xyz},
    film::surface,
    fit::{Card, Datum, Prior, Says},
    picture::Ground,
    spectrum::{self, Bands},
};

/// Noise draws of every paint.
pub const DRAWS: usize = 5;

/// One set.
pub struct Set {
    pub name: &'static str,
    pub white: Xyz,
    pub black: Xyz,
    pub grounds: Vec<Ground>,
    pub grounds_xyz: Vec<Xyz>,
    /// True builds of the films on the card, from thin to thick.
    pub builds: Vec<f64>,
    pub paints: Vec<SetPaint>,
}

/// One paint of a set.
pub struct SetPaint {
    pub name: String,
    /// K and S per film of build 1.
    pub absorption: Bands,
    pub scattering: Bands,
    /// XYZ by film and stripe (white, black) without noise.
    pub exact: Vec<[Xyz; 2]>,
    /// The same with noise, by draw.
    pub noisy: Vec<Vec<[Xyz; 2]>>,
    /// Build and the exact Lab over every ground.
    pub over_grounds: Vec<(f64, Vec<Lab>)>,
}

pub fn numbers(v: &Value) -> Vec<f64> {
    v.as_array()
        .expect("a list")
        .iter()
        .map(|x| x.as_f64().expect("a number"))
        .collect()
}

pub fn list(v: &Value) -> &[Value] {
    v.as_array().expect("a list")
}

pub fn xyz(v: &Value) -> Xyz {
    let n = numbers(v);
    Xyz::new(n[0], n[1], n[2])
}

pub fn lab(v: &Value) -> Lab {
    let n = numbers(v);
    Lab::new(n[0], n[1], n[2])
}

pub fn bands(v: &Value) -> Bands {
    numbers(v).try_into().expect("31 numbers")
}

pub fn json(name: &str) -> Value {
    json_at(&format!("tests/data/sets/{name}.json"))
}

/// A JSON file by its path in the project.
pub fn json_at(path: &str) -> Value {
    let path = format!("{}/{path}", env!("CARGO_MANIFEST_DIR"));
    let text = std::fs::read_to_string(&path).unwrap_or_else(|e| panic!("{path}: {e}"));
    serde_json::from_str(&text).expect("JSON")
}

impl Set {
    pub fn load(name: &'static str) -> Self {
        let d = json(name);
        let grounds_xyz: Vec<Xyz> = list(&d["grounds_xyz"]).iter().map(xyz).collect();
        Self {
            name,
            white: xyz(&d["white_xyz"]),
            black: xyz(&d["black_xyz"]),
            grounds: grounds_xyz.iter().map(|&g| Ground::of_xyz(g)).collect(),
            grounds_xyz,
            builds: numbers(&d["films_true"]),
            paints: list(&d["paints"])
                .iter()
                .map(|p| SetPaint {
                    name: p["name"].as_str().expect("a name").into(),
                    absorption: bands(&p["k"]),
                    scattering: bands(&p["s"]),
                    exact: cells(&p["xyz_film_by_stripe"]),
                    noisy: list(&p["noisy"]).iter().map(cells).collect(),
                    over_grounds: list(&p["over_grounds"])
                        .iter()
                        .map(|o| {
                            (
                                o["build"].as_f64().expect("a build"),
                                list(&o["lab"]).iter().map(lab).collect(),
                            )
                        })
                        .collect(),
                })
                .collect(),
        }
    }

    /// The card of one draw as a fit sees it: builds given only as thin, middle, thick.
    pub fn card(&self, cells: &[[Xyz; 2]]) -> Card {
        card(self.white, self.black, cells)
    }
}

fn cells(films: &Value) -> Vec<[Xyz; 2]> {
    list(films)
        .iter()
        .map(|film| [xyz(&film[0]), xyz(&film[1])])
        .collect()
}

/// What the product takes for known of a paint before it fits such cells.
pub fn prior(white: Xyz, cells: &[[Xyz; 2]]) -> Prior {
    let numbers = |c: Xyz| [c.x, c.y, c.z];
    Prior::of_films(numbers(white), cells.iter().map(|pair| numbers(pair[0])))
}

/// How far the cells of a set are taken to be off.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Noise {
    /// As far as the product says of any scan, whose scanner nobody knows.
    OfScanners,
    /// As far as they are: by the noise that was added to them.
    Added,
}

/// Noise of a cell in XYZ that was added to the sets, standard deviation.
pub const NOISE: f64 = 0.001;

/// A card from its cells, thin films first, as the product builds it: neighbours are guessed to differ by a factor of two, and
/// the (lower) middle film is the unit.
pub fn card(white: Xyz, black: Xyz, cells: &[[Xyz; 2]]) -> Card {
    card_within(white, black, cells, Noise::OfScanners)
}

/// The same, its cells off by what `noise` says.
pub fn card_within(white: Xyz, black: Xyz, cells: &[[Xyz; 2]], noise: Noise) -> Card {
    let depths: Vec<f64> = (0..cells.len()).map(|film| film as f64).collect();
    let (nominal, reference) = twoground::fit::nominal_builds(&depths, &[]);
    let rows = spectrum::to_xyz_rows();
    let mut data = Vec::new();
    for (film, pair) in cells.iter().enumerate() {
        for (ground, cell) in pair.iter().enumerate() {
            for (row, value) in rows.iter().zip([cell.x, cell.y, cell.z]) {
                let sd = match noise {
                    Noise::OfScanners => twoground::reading::cell_sd(0.0, value),
                    Noise::Added => NOISE,
                };
                data.push(Datum {
                    film,
                    ground,
                    row: *row,
                    value,
                    sd,
                    says: Says::Equal,
                });
            }
        }
    }
    let spectrum = |c: Xyz| spectrum::smoothest(c).map(surface::to_internal);
    let shared = nalgebra::DMatrix::zeros(data.len(), data.len());
    Card {
        haze: (0.0, 1e-6),
        anisotropy: twoground::reading::ANISOTROPY,
        shared,
        grounds: vec![spectrum(white), spectrum(black)],
        data,
        nominal,
        reference,
    }
}

/// Value at `share` (0 to 1) of the sorted numbers, interpolated as numpy's percentile does.
pub fn percentile(values: &[f64], share: f64) -> f64 {
    let mut sorted = values.to_vec();
    sorted.sort_by(f64::total_cmp);
    let rank = share * (sorted.len() - 1) as f64;
    let below = rank as usize;
    let above = (below + 1).min(sorted.len() - 1);
    sorted[below] + (rank - below as f64) * (sorted[above] - sorted[below])
}
