//! Scores of predictions, sorted into classes.
#![allow(
    unreachable_pub,
    missing_docs,
    dead_code,
    reason = "shared by test programs that use different parts"
)]

use twoground::{
    colour::{self, Lab},
    fit::{self, Optics},
    paint::Constants,
    picture::{Film, Ground, Stack},
    simulate::random::Random,
    spectrum::{BANDS, Bands},
};

use crate::sets::{self, NOISE, Noise, Set, SetPaint, percentile};

/// What a paint is by its true K and S per reference film. The bounds are ours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Class {
    /// Scatters less than 0.3.
    Clear,
    /// Scatters 0.3 to 1.5.
    Milky,
    /// Scatters more, and absorbs somewhere.
    Body,
    /// Scatters more, and absorbs hardly anywhere.
    White,
    /// Absorbs 0.8 or more everywhere.
    Dark,
}

impl Class {
    pub const ALL: [Self; 5] = [
        Self::Clear,
        Self::Milky,
        Self::Body,
        Self::White,
        Self::Dark,
    ];

    pub fn of(absorption: &Bands, scattering: &Bands) -> Self {
        let mean = |v: &Bands| v.iter().sum::<f64>() / BANDS as f64;
        let least = absorption.iter().copied().fold(f64::INFINITY, f64::min);
        let (k, s) = (mean(absorption), mean(scattering));
        match () {
            () if least >= 0.8 => Self::Dark,
            () if s < 0.3 => Self::Clear,
            () if s < 1.5 => Self::Milky,
            () if k < 0.05 * s => Self::White,
            () => Self::Body,
        }
    }

    pub fn name(self) -> &'static str {
        match self {
            Self::Clear => "clear paints",
            Self::Milky => "milky paints",
            Self::Body => "body paints",
            Self::White => "whites",
            Self::Dark => "dark paints",
        }
    }
}

/// Errors (CIEDE2000) and ranges of predictions.
#[derive(Debug, Clone, Default)]
pub struct Tally {
    pub errors: Vec<f64>,
    pub ranges: Vec<f64>,
}

impl Tally {
    pub const fn new() -> Self {
        Self {
            errors: Vec::new(),
            ranges: Vec::new(),
        }
    }

    pub fn add(&mut self, error: f64, range: f64) {
        self.errors.push(error);
        self.ranges.push(range);
    }

    pub fn append(&mut self, other: &Self) {
        self.errors.extend(&other.errors);
        self.ranges.extend(&other.ranges);
    }

    pub fn median(&self) -> f64 {
        percentile(&self.errors, 0.5)
    }

    pub fn mean(&self) -> f64 {
        self.errors.iter().sum::<f64>() / self.errors.len() as f64
    }

    pub fn high(&self) -> f64 {
        percentile(&self.errors, 0.95)
    }

    /// Share of predictions whose error is within the range.
    pub fn held(&self) -> f64 {
        let within = self
            .errors
            .iter()
            .zip(&self.ranges)
            .filter(|(e, r)| e <= r)
            .count();
        within as f64 / self.errors.len() as f64
    }

    /// Median range.
    pub fn width(&self) -> f64 {
        percentile(&self.ranges, 0.5)
    }
}

/// One prediction of the product beside the truth.
#[derive(Debug, Clone, Copy)]
pub struct One {
    pub class: Class,
    /// Build in films of the reference.
    pub build: f64,
    pub coloured: bool,
    pub films_on_card: usize,
    pub error: f64,
    pub range: f64,
}

/// Whether a ground counts as coloured: more than a slightly warm or cold grey.
pub fn coloured(ground: Lab) -> bool {
    ground.a.hypot(ground.b) > 5.0
}

/// Which films, thin to thick, stay on the card when only some are left: the middle one; two neighbours, by turns.
pub fn kept(films: usize, draw: usize) -> &'static [usize] {
    match (films, draw % 2) {
        (1, _) => &[1],
        (2, 0) => &[0, 1],
        (2, _) => &[1, 2],
        _ => &[0, 1, 2],
    }
}

/// What the product makes of some films of a card whose cells are off by `noise`, and the true build of its unit.
pub fn learn(
    set: &Set,
    cells: &[[colour::Xyz; 2]],
    kept: &[usize],
    noise: Noise,
) -> (Constants, f64) {
    let some: Vec<_> = kept.iter().map(|&film| cells[film]).collect();
    let card = sets::card_within(set.white, set.black, &some, noise);
    let prior = sets::prior(set.white, &some);
    let fitted = fit::fit(&card, &prior, Optics::Transport);
    (Constants::of(&fitted), set.builds[kept[card.reference]])
}

/// Every prediction of the product for one paint, from cards of `films` films.
pub fn predictions(set: &Set, paint: &SetPaint, draw: usize, films: usize) -> Vec<One> {
    predictions_within(set, paint, draw, films, Noise::OfScanners)
}

/// The same, the card's cells off by what `noise` says.
pub fn predictions_within(
    set: &Set,
    paint: &SetPaint,
    draw: usize,
    films: usize,
    noise: Noise,
) -> Vec<One> {
    let kept = kept(films, draw);
    let (constants, unit) = learn(set, &paint.noisy[draw], kept, noise);
    let class = Class::of(&paint.absorption, &paint.scattering);
    let mut all = Vec::new();
    for (build, labs) in &paint.over_grounds {
        let film = Film {
            paint: 0,
            build: build / unit,
        };
        let stack = Stack::new(&[&constants], &[film]).expect("a build within reach");
        for (ground, &truth) in set.grounds.iter().zip(labs) {
            let predicted = stack.over(ground);
            all.push(One {
                class,
                build: *build,
                coloured: coloured(ground.lab),
                films_on_card: films,
                error: colour::difference(truth, predicted.lab),
                range: predicted.range,
            });
        }
    }
    all
}

/// Those that `which` picks.
pub fn tally(all: &[One], which: impl Fn(&One) -> bool) -> Tally {
    let mut tally = Tally::default();
    for one in all.iter().filter(|one| which(one)) {
        tally.add(one.error, one.range);
    }
    tally
}

/// A ground whose spectrum is known.
pub fn known_ground(reflectance: &Bands) -> Ground {
    Ground {
        covariance: twoground::spectrum::BandCovariance::zeros(),
        ..ground_with(reflectance)
    }
}

fn ground_with(reflectance: &Bands) -> Ground {
    let mut ground = Ground::of_xyz(twoground::spectrum::xyz_of(reflectance));
    ground.internal = reflectance.map(twoground::film::surface::to_internal);
    ground
}

/// Cells with noise.
pub fn noisy(random: &mut Random, cells: &[[colour::Xyz; 2]]) -> Vec<[colour::Xyz; 2]> {
    cells
        .iter()
        .map(|pair| {
            pair.map(|c| {
                let mut with = |v: f64| v + NOISE * random.normal();
                colour::Xyz::new(with(c.x), with(c.y), with(c.z))
            })
        })
        .collect()
}
