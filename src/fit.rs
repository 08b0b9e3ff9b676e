//! Cells of a card to absorption K, scattering S and film builds, with their covariance.
//!
//! Unknown are log K and log S on 31 bands, the log build of every film but one, how far forward the paint scatters, and a
//! constant that a dull surface adds. The data are a few colours per film and stripe; a smoothness prior carries what they
//! cannot ([`prior`]). The most probable values are found by Gauss-Newton in the space of the data, which are fewer than the
//! unknowns (the same step as in the usual form, by the matrix inversion lemma; Tarantola, Inverse Problem Theory (2005),
//! 3.2). [`uncertainty`] passes the covariance on to predictions.

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

pub use prior::Prior;

/// What one number of a card says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// The value itself, within its standard deviation.
    Equal,
    /// No more than the value: the channel was clipped at its lower end.
    AtMost,
    /// No less than the value: clipped at its upper end.
    AtLeast,
}

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
/// Most Gauss-Newton steps from one start.
const MOST_STEPS: usize = 60;
/// A fit ends when a step lowers its cost by less than this share.
const SETTLED: f64 = 1e-7;
/// Longest step of any unknown: a factor of 4.5.
const LONGEST: f64 = 1.5;
/// How often a bound may be taken up or let go, on average.
const MOST_TURNS: usize = 3;
/// A bound is kept that is broken by less than this share of its standard deviation.
const KEPT: f64 = 1e-6;

/// Most probable K, S and builds behind one card.
pub fn fit(card: &Card, prior: &Prior, optics: Optics) -> Fitted {
    let problem = Problem {
        card,
        optics,
        mean: prior.mean(card),
        covariance: prior.covariance(card),
    };
    let precision = prior.precision(card);
    STARTS
        .iter()
        .map(|&start| problem.descend(start, &precision))
        .reduce(|best, next| if next.cost < best.cost { next } else { best })
        .map(|end| problem.finish(end))
        .expect("there is at least one start")
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

/// The same from one start that is near already: an earlier fit of the same films.
pub fn refit(card: &Card, prior: &Prior, near: &Fitted) -> Fitted {
    let problem = Problem {
        card,
        optics: near.optics,
        mean: prior.mean(card),
        covariance: prior.covariance(card),
    };
    let films = card.nominal.len();
    let mut theta = problem.mean.clone();
    for band in 0..BANDS {
        theta[band] = near.log_absorption[band];
        theta[BANDS + band] = near.log_scattering[band];
    }
    for film in 0..films {
        theta[2 * BANDS + film] = near.log_builds[film];
    }
    theta[2 * BANDS + films] = near.anisotropy;
    theta[2 * BANDS + films + 1] = near.haze.0;
    problem.finish(problem.descend_from(theta, &prior.precision(card)))
}

struct Problem<'a> {
    card: &'a Card,
    optics: Optics,
    mean: DVector<f64>,
    covariance: DMatrix<f64>,
}

/// A point of the descent. `dual` is the prior's precision times the distance from its mean: it makes the prior's cost a
/// dot product, and steps keep it without ever inverting the covariance.
#[derive(Clone)]
struct Point {
    theta: DVector<f64>,
    dual: DVector<f64>,
    seen: Vec<f64>,
    heard: Vec<bool>,
    jacobian: DMatrix<f64>,
    cost: f64,
    chi_squared: f64,
    steps: usize,
}

impl Problem<'_> {
    fn descend(&self, (k, s): (f64, f64), precision: &DMatrix<f64>) -> Point {
        let mut theta = self.mean.clone();
        for band in 0..BANDS {
            theta[band] = libm::log(k);
            theta[BANDS + band] = libm::log(s);
        }
        self.descend_from(theta, precision)
    }

    fn descend_from(&self, mut theta: DVector<f64>, precision: &DMatrix<f64>) -> Point {
        let anisotropy = 2 * BANDS + self.card.nominal.len();
        theta[anisotropy] = theta[anisotropy].clamp(table::EVEN, table::MOST_FORWARD);
        let dual = precision * (&theta - &self.mean);
        let mut here = self.point(theta, dual, 0);
        for step in 1..=MOST_STEPS {
            let (towards, dual) = self.target(&here);
            let change = towards - &here.theta;
            let longest = change.amax();
            let mut share = if longest > LONGEST {
                LONGEST / longest
            } else {
                1.0
            };
            let mut next = None;
            for _ in 0..12 {
                let mut theta = &here.theta + share * &change;
                let mut mixed = (1.0 - share) * &here.dual + share * &dual;
                // The optics know no other anisotropies. It is independent of the rest in the prior, so its dual is its own.
                theta[anisotropy] = theta[anisotropy].clamp(table::EVEN, table::MOST_FORWARD);
                mixed[anisotropy] = precision[(anisotropy, anisotropy)]
                    * (theta[anisotropy] - self.mean[anisotropy]);
                let there = self.point(theta, mixed, step);
                if there.cost < here.cost {
                    next = Some(there);
                    break;
                }
                share *= 0.4;
            }
            let Some(there) = next else { break };
            let drop = here.cost - there.cost;
            here = there;
            if drop < SETTLED * here.cost {
                break;
            }
        }
        here
    }

    /// Where the linearised problem has its optimum, and that point's dual.
    fn target(&self, here: &Point) -> (DVector<f64>, DVector<f64>) {
        let offset = &here.theta - &self.mean;
        let spread = &self.covariance * here.jacobian.transpose();
        let mut inner = &here.jacobian * &spread;
        let mut right = &here.jacobian * &offset;
        inner += self.noise(&here.heard);
        for (i, off) in self.residuals(&here.seen, &here.heard).iter().enumerate() {
            right[i] += off;
        }
        let weights = match inner.cholesky() {
            Some(factor) => factor.solve(&right),
            None => DVector::zeros(self.card.data.len()),
        };
        (
            &self.mean + &spread * &weights,
            here.jacobian.transpose() * weights,
        )
    }

    fn point(&self, theta: DVector<f64>, dual: DVector<f64>, steps: usize) -> Point {
        let (seen, mut jacobian) = self.forward(&theta);
        let heard = self.heard(&seen);
        for (i, heard) in heard.iter().enumerate() {
            if !heard {
                jacobian.row_mut(i).fill(0.0);
            }
        }
        let residuals = self.residuals(&seen, &heard);
        let chi_squared = self
            .noise(&heard)
            .cholesky()
            .map_or(f64::INFINITY, |factor| {
                residuals.dot(&factor.solve(&residuals))
            });
        let cost = chi_squared + dual.dot(&(&theta - &self.mean));
        Point {
            theta,
            dual,
            seen,
            heard,
            jacobian,
            cost,
            chi_squared,
            steps,
        }
    }

    /// Which data say something: values all, bounds where the light and the errors that data share do not keep them together. A zero
    /// that is off by much keeps what the light alone does not, so this is a least-squares problem with inequalities; it is solved by
    /// an active set, one bound a turn, the worst first (Nocedal and Wright, Numerical Optimization (2006), 16.5).
    fn heard(&self, seen: &[f64]) -> Vec<bool> {
        let data = &self.card.data;
        let towards = |i: usize| match data[i].says {
            Says::Equal => 0.0,
            Says::AtMost => -1.0,
            Says::AtLeast => 1.0,
        };
        let mut heard: Vec<bool> = (0..data.len())
            .map(|i| data[i].says == Says::Equal || towards(i) * (data[i].value - seen[i]) > 0.0)
            .collect();
        let bounds: Vec<usize> = (0..data.len())
            .filter(|&i| data[i].says != Says::Equal)
            .collect();
        for _ in 0..MOST_TURNS * bounds.len() {
            let Some(factor) = self.noise(&heard).cholesky() else {
                break;
            };
            let weights = factor.solve(&self.residuals(seen, &heard));
            // How far each bound is from where it belongs, in its own standard deviations: one that is heard and pulls the wrong way, or
            // one that is not and is broken.
            let wrong = |i: usize| {
                let sd = data[i].sd;
                if heard[i] {
                    -towards(i) * weights[i] * sd
                } else {
                    let shared: f64 = (0..data.len())
                        .filter(|&j| heard[j])
                        .map(|j| self.card.shared[(i, j)] * weights[j])
                        .sum();
                    towards(i) * (data[i].value - seen[i] - shared) / sd
                }
            };
            let worst = bounds
                .iter()
                .map(|&i| (i, wrong(i)))
                .max_by(|a, b| a.1.total_cmp(&b.1));
            match worst {
                Some((i, by)) if by > KEPT => heard[i] = !heard[i],
                _ => break,
            }
        }
        heard
    }

    /// Measured minus given, nothing for what says nothing.
    fn residuals(&self, seen: &[f64], heard: &[bool]) -> DVector<f64> {
        DVector::from_fn(seen.len(), |i, _| {
            if heard[i] {
                self.card.data[i].value - seen[i]
            } else {
                0.0
            }
        })
    }

    /// Covariance of the data. What says nothing shares nothing either.
    fn noise(&self, heard: &[bool]) -> DMatrix<f64> {
        let data = &self.card.data;
        DMatrix::from_fn(data.len(), data.len(), |i, j| {
            let shared = if heard[i] && heard[j] {
                self.card.shared[(i, j)]
            } else {
                0.0
            };
            if i == j {
                shared + data[i].sd * data[i].sd
            } else {
                shared
            }
        })
    }

    /// Every datum as the constants give it, and its slopes along the unknowns.
    fn forward(&self, theta: &DVector<f64>) -> (Vec<f64>, DMatrix<f64>) {
        let card = self.card;
        let films = card.nominal.len();
        let grounds = card.grounds.len();
        // seen[film][ground][band] with slopes; each film and ground is computed once for all its channels.
        let mut table = vec![[[0.0; 4]; BANDS]; films * grounds];
        let (anisotropy, haze) = (2 * BANDS + films, 2 * BANDS + films + 1);
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

    fn finish(&self, end: Point) -> Fitted {
        // Posterior covariance P - P J^T (J P J^T + R)^-1 J P.
        let spread = &self.covariance * end.jacobian.transpose();
        let inner = &end.jacobian * &spread + self.noise(&end.heard);
        let mut covariance = self.covariance.clone();
        let mut surprise = f64::INFINITY;
        if let Some(factor) = inner.cholesky() {
            let log_determinant: f64 = factor
                .l_dirty()
                .diagonal()
                .iter()
                .map(|d| libm::log(*d))
                .sum();
            surprise = end.cost + 2.0 * log_determinant;
            covariance -= &spread * factor.solve(&spread.transpose());
        }
        // Rounding leaves it a little asymmetric.
        covariance = 0.5 * (&covariance + covariance.transpose());
        let (anisotropy, haze) = (
            2 * BANDS + self.card.nominal.len(),
            2 * BANDS + self.card.nominal.len() + 1,
        );
        Fitted {
            optics: self.optics,
            anisotropy: end.theta[anisotropy],
            haze: (end.theta[haze], covariance[(haze, haze)].max(0.0).sqrt()),
            log_absorption: std::array::from_fn(|b| end.theta[b]),
            log_scattering: std::array::from_fn(|b| end.theta[BANDS + b]),
            log_builds: end
                .theta
                .iter()
                .skip(2 * BANDS)
                .take(self.card.nominal.len())
                .copied()
                .collect(),
            covariance: covariance.view((0, 0), (haze, haze)).into_owned(),
            fitted: end.seen,
            chi_squared: end.chi_squared,
            cost: end.cost,
            surprise,
            steps: end.steps,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::spectrum::to_xyz_rows;

    /// A zero that is too low by as much as the values beside it say keeps a bound that the light alone breaks.
    #[test]
    fn an_error_that_data_share_keeps_a_bound_with_them() {
        let rows = to_xyz_rows();
        let given = [0.20, 0.10, 0.013];
        let off = [-0.05, -0.05, -0.013];
        let data: Vec<Datum> = (0..3)
            .map(|i| Datum {
                film: 0,
                ground: 0,
                row: rows[1],
                value: given[i] + off[i],
                sd: 0.002,
                says: if i == 2 { Says::AtMost } else { Says::Equal },
            })
            .collect();
        let heard = |zero: f64| {
            let card = Card {
                grounds: vec![[0.85; BANDS]],
                shared: DMatrix::from_element(3, 3, zero * zero),
                data: data.clone(),
                haze: (0.0, 0.002),
                anisotropy: (0.4, 0.25),
                nominal: vec![1.0],
                reference: 0,
            };
            let prior = Prior::default();
            let problem = Problem {
                card: &card,
                optics: Optics::Transport,
                mean: prior.mean(&card),
                covariance: prior.covariance(&card),
            };
            problem.heard(&given)
        };
        assert_eq!(heard(0.0), [true, true, true]);
        assert_eq!(heard(0.03), [true, true, false]);
    }

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
