//! Cells of a card to absorption K, scattering S and film builds, with their covariance.
//!
//! Unknown are log K and log S on 31 bands, the log build of every film but one, how far forward the paint scatters, and a
//! constant that a dull surface adds. The data are a few colours per film and stripe; a smoothness prior carries what they
//! cannot ([`prior`]). The most probable values are found by [`descent`]; [`uncertainty`] passes their covariance on to predictions.

pub mod descent;
mod mixed;
pub mod noise;
pub mod prior;
pub mod sensors;
pub mod uncertainty;

use nalgebra::{DMatrix, DVector};

use crate::{
    film::{
        Response,
        table::{self, Slopes, Table},
        two_flux,
    },
    spectrum::{BANDS, Bands},
};

use descent::{Bounded, Known, Measured, Model, Optimum, Problem};

pub use descent::Says;
pub use prior::Prior;

/// One measured number: a weighted sum over the spectrum of one film over one stripe.
#[derive(Debug, Clone, PartialEq)]
pub struct Datum {
    /// Index of the film.
    pub film: usize,
    /// Index into [`Card::grounds`].
    pub ground: usize,
    /// Weights over the bands: a row of the CIE tables, or of the scanner's own channels.
    pub row: Bands,
    /// The measured value.
    pub value: f64,
    /// Its standard deviation, more than 0.
    pub sd: f64,
    /// Equality or bound.
    pub says: Says,
}

/// What a fit needs to know of one card.
#[derive(Debug, Clone, PartialEq)]
pub struct Card {
    /// Internal reflectance spectra of the bare stripes (white, black; any number).
    pub grounds: Vec<Bands>,
    /// Everything measured.
    pub data: Vec<Datum>,
    /// A constant that the films' own surface adds to every band, with its mean and standard deviation before the card is
    /// seen: nothing for gloss, a few hundredths for dull films.
    pub haze: (f64, f64),
    /// Covariance of errors that data share, on top of their own standard deviations ([`noise`]).
    pub shared: DMatrix<f64>,
    /// Anisotropy of the paint's scattering, with its mean and standard deviation before the card is seen.
    pub anisotropy: (f64, f64),
    /// First guess of each film's build, all more than 0.
    pub nominal: Vec<f64>,
    /// The film whose build stays at its nominal value.
    pub reference: usize,
}

/// The optics a fit goes through.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Optics {
    /// Exact transport, tabulated: the product's.
    #[default]
    Transport,
    /// Kubelka-Munk with the same surface: the textbook comparison.
    TwoFlux,
}

impl Optics {
    /// One film of K X and S X and its slopes along their logarithms and the anisotropy (which two fluxes do not know).
    pub fn slopes(self, kx: f64, sx: f64, anisotropy: f64) -> Slopes {
        match self {
            Self::Transport => Table::shared().slopes(kx, sx, anisotropy),
            Self::TwoFlux => {
                const H: f64 = 1e-4;
                let at = |k: f64, s: f64| two_flux::layer(k, s).seen();
                let slope = |up: Response, down: Response| Response {
                    a: (up.a - down.a) / (2.0 * H),
                    b: (up.b - down.b) / (2.0 * H),
                    c: (up.c - down.c) / (2.0 * H),
                };
                Slopes {
                    at: at(kx, sx),
                    by_absorption: slope(at(kx * libm::exp(H), sx), at(kx * libm::exp(-H), sx)),
                    by_scattering: slope(at(kx, sx * libm::exp(H)), at(kx, sx * libm::exp(-H))),
                    by_anisotropy: Response {
                        a: 0.0,
                        b: 0.0,
                        c: 0.0,
                    },
                }
            }
        }
    }
}

/// The result of a fit.
#[derive(Debug, Clone, PartialEq)]
pub struct Fitted {
    /// Optics that the constants belong to.
    pub optics: Optics,
    /// Natural logarithms of K on the bands.
    pub log_absorption: Bands,
    /// Natural logarithms of S.
    pub log_scattering: Bands,
    /// Natural logarithms of the builds.
    pub log_builds: Vec<f64>,
    /// Anisotropy of the scattering that the constants belong to.
    pub anisotropy: f64,
    /// The constant that the films' surface adds, and its standard deviation.
    pub haze: (f64, f64),
    /// Covariance of log K, log S, log builds, anisotropy, in that order.
    pub covariance: DMatrix<f64>,
    /// What the constants give for every datum.
    pub fitted: Vec<f64>,
    /// Sum of squared residuals over their standard deviations.
    pub chi_squared: f64,
    /// The minimised cost: `chi_squared` plus the prior's share.
    pub cost: f64,
    /// Twice the negative logarithm of how probable the card's data are, whatever the constants (Laplace's approximation), up
    /// to a constant that the number of data sets. What is smaller explains the card better.
    pub surprise: f64,
    /// Gauss-Newton steps of the start that won.
    pub steps: usize,
}

/// (K, S) of the starts, per unit build: there are local minima, and the best end counts. On 657 fits of rendered cards each of these
/// was needed by some. Only the last one, nearly a white, keeps some whites from ending as black paints under a scanner that is all
/// level error.
const STARTS: [(f64, f64); 5] = [
    (0.5, 0.3),
    (0.05, 0.05),
    (2.0, 0.05),
    (1.0, 3.0),
    (0.01, 1.0),
];

/// Most probable K, S and builds behind one card.
pub fn fit(card: &Card, prior: &Prior, optics: Optics) -> Fitted {
    let films = Films { card, optics };
    let problem = films.problem(prior);
    let starts = STARTS.map(|(k, s)| {
        let mut theta = problem.known.mean.clone();
        for band in 0..BANDS {
            theta[band] = libm::log(k);
            theta[BANDS + band] = libm::log(s);
        }
        theta
    });
    let optimum = problem.solve(starts);
    films.fitted(optimum.expect("there is at least one start"))
}

/// The same from one start that is near already: an earlier fit of the same films.
pub fn refit(card: &Card, prior: &Prior, near: &Fitted) -> Fitted {
    let films = Films {
        card,
        optics: near.optics,
    };
    let problem = films.problem(prior);
    let mut theta = problem.known.mean.clone();
    for band in 0..BANDS {
        theta[band] = near.log_absorption[band];
        theta[BANDS + band] = near.log_scattering[band];
    }
    for (film, &build) in near.log_builds.iter().enumerate() {
        theta[2 * BANDS + film] = build;
    }
    theta[films.anisotropy()] = near.anisotropy;
    theta[films.haze()] = near.haze.0;
    films.fitted(problem.solve([theta]).expect("there is a start"))
}

/// Nominal builds from the cells: films ranked by depth, a factor 2 between neighbours, the middle one (of an even number
/// the lower middle) at 1. Depth is how far a film takes its cells from the bare stripes.
///
/// `depths`: one number a film, larger for thicker. `units`: which of them may be the reference; all count where none may.
/// Returns the builds and which film is the reference.
pub fn nominal_builds(depths: &[f64], units: &[bool]) -> (Vec<f64>, usize) {
    let order = crate::order::order(depths);
    let any = units.contains(&true);
    let may = |film: usize| !any || units.get(film) == Some(&true);
    let ranks: Vec<usize> = (0..order.len()).filter(|&rank| may(order[rank])).collect();
    let middle = ranks
        .get((ranks.len().max(1) - 1) / 2)
        .copied()
        .unwrap_or(0);
    let mut builds = vec![1.0; depths.len()];
    for (rank, &film) in order.iter().enumerate() {
        builds[film] = libm::pow(2.0, rank as f64 - middle as f64);
    }
    (builds, order.get(middle).copied().unwrap_or(0))
}

/// A card's films as a model of its data. The unknowns, in this order: log K, log S, log builds, anisotropy, haze.
struct Films<'a> {
    card: &'a Card,
    optics: Optics,
}

impl Films<'_> {
    fn anisotropy(&self) -> usize {
        2 * BANDS + self.card.nominal.len()
    }

    fn haze(&self) -> usize {
        self.anisotropy() + 1
    }

    fn problem(&self, prior: &Prior) -> Problem<'_, Self> {
        let card = self.card;
        Problem {
            model: self,
            measured: card
                .data
                .iter()
                .map(
                    |&Datum {
                         value, sd, says, ..
                     }| Measured { value, sd, says },
                )
                .collect(),
            shared: &card.shared,
            known: Known {
                mean: prior.mean(card),
                covariance: prior.covariance(card),
                precision: prior.precision(card),
            },
            // The optics know no other anisotropies.
            bounded: Some(Bounded {
                unknown: self.anisotropy(),
                range: table::EVEN..=table::MOST_FORWARD,
            }),
        }
    }

    fn fitted(&self, end: Optimum) -> Fitted {
        let (anisotropy, haze) = (self.anisotropy(), self.haze());
        let theta = &end.unknowns;
        Fitted {
            optics: self.optics,
            anisotropy: theta[anisotropy],
            haze: (theta[haze], end.covariance[(haze, haze)].max(0.0).sqrt()),
            log_absorption: std::array::from_fn(|b| theta[b]),
            log_scattering: std::array::from_fn(|b| theta[BANDS + b]),
            log_builds: theta.as_slice()[2 * BANDS..anisotropy].to_vec(),
            covariance: end.covariance.view((0, 0), (haze, haze)).into_owned(),
            fitted: end.seen,
            chi_squared: end.chi_squared,
            cost: end.cost,
            surprise: end.surprise,
            steps: end.steps,
        }
    }
}

impl Model for Films<'_> {
    fn see(&self, theta: &DVector<f64>) -> (Vec<f64>, DMatrix<f64>) {
        let card = self.card;
        let films = card.nominal.len();
        let grounds = card.grounds.len();
        // seen[film][ground][band] with slopes; each film and ground is computed once for all its channels.
        let mut table = vec![[[0.0; 4]; BANDS]; films * grounds];
        let (anisotropy, haze) = (self.anisotropy(), self.haze());
        for film in 0..films {
            let build = libm::exp(theta[2 * BANDS + film]);
            for band in 0..BANDS {
                let slopes = self.optics.slopes(
                    libm::exp(theta[band]) * build,
                    libm::exp(theta[BANDS + band]) * build,
                    theta[anisotropy],
                );
                for (g, ground) in card.grounds.iter().enumerate() {
                    table[film * grounds + g][band] = slopes.over(ground[band]);
                }
            }
        }
        let mut seen = Vec::with_capacity(card.data.len());
        let mut jacobian = DMatrix::zeros(card.data.len(), theta.len());
        for (i, datum) in card.data.iter().enumerate() {
            let bands = &table[datum.film * grounds + datum.ground];
            let flat: f64 = datum.row.iter().sum();
            let value: f64 =
                (0..BANDS).map(|b| datum.row[b] * bands[b][0]).sum::<f64>() + theta[haze] * flat;
            seen.push(value);
            let mut by_build = 0.0;
            for b in 0..BANDS {
                let (by_k, by_s) = (datum.row[b] * bands[b][1], datum.row[b] * bands[b][2]);
                jacobian[(i, b)] = by_k;
                jacobian[(i, BANDS + b)] = by_s;
                // A thicker film is more K and more S.
                by_build += by_k + by_s;
            }
            jacobian[(i, anisotropy)] = (0..BANDS).map(|b| datum.row[b] * bands[b][3]).sum();
            jacobian[(i, haze)] = flat;
            if datum.film != card.reference {
                jacobian[(i, 2 * BANDS + datum.film)] = by_build;
            }
        }
        (seen, jacobian)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::to_xyz_rows;

    /// Five films of a white, seen by a scanner whose level is open: a black paint and a level error of everything explain no cell.
    #[test]
    fn a_white_does_not_end_as_a_black() {
        let (absorption, scattering, anisotropy) = (0.003, 1.6, 0.4);
        let grounds = vec![[0.85; BANDS], [0.06; BANDS]];
        let builds = [0.38, 1.76, 1.0, 0.57, 2.77];
        let rows = to_xyz_rows();
        let mut data = Vec::new();
        for (film, &build) in builds.iter().enumerate() {
            for (ground, under) in grounds.iter().enumerate() {
                let layer =
                    Optics::Transport.slopes(absorption * build, scattering * build, anisotropy);
                let seen = under.map(|r| layer.over(r)[0]);
                for row in rows {
                    let value = (0..BANDS).map(|b| row[b] * seen[b]).sum();
                    data.push(Datum {
                        film,
                        ground,
                        row,
                        value,
                        sd: 0.002 + 0.003 * value,
                        says: Says::Equal,
                    });
                }
            }
        }
        let level = DVector::from_iterator(data.len(), data.iter().map(|d| 0.04 * d.value));
        let card = Card {
            grounds,
            shared: &level * level.transpose(),
            data,
            haze: (0.0, 0.002),
            anisotropy: (0.4, 0.25),
            nominal: vec![0.25, 2.0, 1.0, 0.5, 4.0],
            reference: 2,
        };
        let fitted = fit(&card, &Prior::default(), Optics::Transport);
        assert!(
            fitted.cost < 0.5 * fitted.fitted.len() as f64,
            "{}",
            fitted.cost
        );
        for (film, build) in builds.iter().enumerate() {
            let off = libm::exp(fitted.log_builds[film]) / build;
            assert!((0.8..1.25).contains(&off), "{film} {off}");
        }
    }
}
