//! The most probable unknowns behind data, with their covariance: nonlinear least squares under a normal prior.
//!
//! Gauss-Newton in the space of the data, which may be far fewer than the unknowns (the same step as in the usual form, by the matrix
//! inversion lemma; Tarantola, Inverse Problem Theory (2005), 3.2), shortened until the cost falls. Data may be bounds, and may share
//! errors. Nothing here knows what the unknowns mean: a [`Model`] does. Beside the product's own, certified regression problems go
//! through it (`tests/regression.rs`).

use std::ops::RangeInclusive;

use nalgebra::{DMatrix, DVector};

/// What one number says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Says {
    /// The value itself, within its standard deviation.
    Equal,
    /// No more than the value: a channel was clipped at its lower end.
    AtMost,
    /// No less than the value: clipped at its upper end.
    AtLeast,
}

/// One measured number.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Measured {
    /// Its value.
    pub value: f64,
    /// Its standard deviation, more than 0.
    pub sd: f64,
    /// Equality or bound.
    pub says: Says,
}

/// How data follow from unknowns.
pub trait Model {
    /// Every datum as the unknowns give it, and its slopes along them (a row a datum).
    fn see(&self, unknowns: &DVector<f64>) -> (Vec<f64>, DMatrix<f64>);
}

/// What is known of the unknowns before the data: a normal distribution.
#[derive(Debug, Clone, PartialEq)]
pub struct Known {
    /// Its mean.
    pub mean: DVector<f64>,
    /// Its covariance.
    pub covariance: DMatrix<f64>,
    /// The inverse of that.
    pub precision: DMatrix<f64>,
}

/// An unknown that stays within a range. It is independent of the others in the prior.
#[derive(Debug, Clone, PartialEq)]
pub struct Bounded {
    /// Its place among the unknowns.
    pub unknown: usize,
    /// Where it stays.
    pub range: RangeInclusive<f64>,
}

/// A problem to solve.
#[derive(Debug, Clone)]
pub struct Problem<'a, M> {
    /// How data follow from unknowns.
    pub model: &'a M,
    /// The data.
    pub measured: Vec<Measured>,
    /// Covariance of errors that data share, on top of their own standard deviations.
    pub shared: &'a DMatrix<f64>,
    /// What is known before them.
    pub known: Known,
    /// An unknown that may not be anything.
    pub bounded: Option<Bounded>,
}

/// Where a problem's cost is least.
#[derive(Debug, Clone, PartialEq)]
pub struct Optimum {
    /// The most probable unknowns.
    pub unknowns: DVector<f64>,
    /// Their covariance, of the problem made linear there.
    pub covariance: DMatrix<f64>,
    /// What they give for every datum.
    pub seen: Vec<f64>,
    /// Sum of squared residuals over their standard deviations.
    pub chi_squared: f64,
    /// The least cost: `chi_squared` plus the prior's share.
    pub cost: f64,
    /// Twice the negative logarithm of how probable the data are, whatever the unknowns (Laplace's approximation), up to a constant that
    /// the number of data sets.
    pub surprise: f64,
    /// Steps from the start that won.
    pub steps: usize,
}

/// Most steps from one start.
const MOST_STEPS: usize = 60;
/// A descent ends when a step lowers its cost by less than this share.
const SETTLED: f64 = 1e-7;
/// Longest step of any unknown: of a logarithm, a factor of 4.5.
const LONGEST: f64 = 1.5;
/// How often a bound may be taken up or let go, on average.
const MOST_TURNS: usize = 3;
/// A bound is kept that is broken by less than this share of its standard deviation.
const KEPT: f64 = 1e-6;

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

impl<M: Model> Problem<'_, M> {
    /// The best end of descents from these starts; none where there are none.
    pub fn solve(&self, starts: impl IntoIterator<Item = DVector<f64>>) -> Option<Optimum> {
        starts
            .into_iter()
            .map(|start| self.descend(start))
            .reduce(|best, next| if next.cost < best.cost { next } else { best })
            .map(|end| self.finish(end))
    }

    fn descend(&self, mut theta: DVector<f64>) -> Point {
        let Known {
            mean, precision, ..
        } = &self.known;
        self.clamp(&mut theta);
        let dual = precision * (&theta - mean);
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
                // It is independent of the rest in the prior, so its dual is its own.
                if let Some(Bounded { unknown: i, .. }) = self.bounded {
                    self.clamp(&mut theta);
                    mixed[i] = precision[(i, i)] * (theta[i] - mean[i]);
                }
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

    fn clamp(&self, theta: &mut DVector<f64>) {
        if let Some(Bounded { unknown, range }) = &self.bounded {
            theta[*unknown] = theta[*unknown].clamp(*range.start(), *range.end());
        }
    }

    /// Where the linearised problem has its optimum, and that point's dual.
    fn target(&self, here: &Point) -> (DVector<f64>, DVector<f64>) {
        let offset = &here.theta - &self.known.mean;
        let spread = &self.known.covariance * here.jacobian.transpose();
        let mut inner = &here.jacobian * &spread;
        let mut right = &here.jacobian * &offset;
        inner += self.noise(&here.heard);
        for (i, off) in self.residuals(&here.seen, &here.heard).iter().enumerate() {
            right[i] += off;
        }
        let weights = match inner.cholesky() {
            Some(factor) => factor.solve(&right),
            None => DVector::zeros(self.measured.len()),
        };
        (
            &self.known.mean + &spread * &weights,
            here.jacobian.transpose() * weights,
        )
    }

    fn point(&self, theta: DVector<f64>, dual: DVector<f64>, steps: usize) -> Point {
        let (seen, mut jacobian) = self.model.see(&theta);
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
        let cost = chi_squared + dual.dot(&(&theta - &self.known.mean));
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
        let data = &self.measured;
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
                        .map(|j| self.shared[(i, j)] * weights[j])
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
                self.measured[i].value - seen[i]
            } else {
                0.0
            }
        })
    }

    /// Covariance of the data. What says nothing shares nothing either.
    fn noise(&self, heard: &[bool]) -> DMatrix<f64> {
        let data = &self.measured;
        DMatrix::from_fn(data.len(), data.len(), |i, j| {
            let shared = if heard[i] && heard[j] {
                self.shared[(i, j)]
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

    fn finish(&self, end: Point) -> Optimum {
        // Posterior covariance P - P J^T (J P J^T + R)^-1 J P.
        let spread = &self.known.covariance * end.jacobian.transpose();
        let inner = &end.jacobian * &spread + self.noise(&end.heard);
        let mut covariance = self.known.covariance.clone();
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
        Optimum {
            unknowns: end.theta,
            covariance,
            seen: end.seen,
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

    /// The data are the unknowns.
    struct Same;

    impl Model for Same {
        fn see(&self, unknowns: &DVector<f64>) -> (Vec<f64>, DMatrix<f64>) {
            let n = unknowns.len();
            (unknowns.as_slice().to_vec(), DMatrix::identity(n, n))
        }
    }

    /// A zero that is too low by as much as the values beside it say keeps a bound that the light alone breaks.
    #[test]
    fn an_error_that_data_share_keeps_a_bound_with_them() {
        let given = [0.20, 0.10, 0.013];
        let off = [-0.05, -0.05, -0.013];
        let heard = |zero: f64| {
            let shared = DMatrix::from_element(3, 3, zero * zero);
            let problem = Problem {
                model: &Same,
                measured: (0..3)
                    .map(|i| Measured {
                        value: given[i] + off[i],
                        sd: 0.002,
                        says: if i == 2 { Says::AtMost } else { Says::Equal },
                    })
                    .collect(),
                shared: &shared,
                known: Known {
                    mean: DVector::zeros(3),
                    covariance: DMatrix::identity(3, 3),
                    precision: DMatrix::identity(3, 3),
                },
                bounded: None,
            };
            problem.heard(&given)
        };
        assert_eq!(heard(0.0), [true, true, true]);
        assert_eq!(heard(0.03), [true, true, false]);
    }

    /// With normal data and a normal prior, the mean of both by their weights; an unknown that is bounded stops there.
    #[test]
    fn a_linear_problem_has_the_textbook_answer() {
        let shared = DMatrix::zeros(1, 1);
        let mut problem = Problem {
            model: &Same,
            measured: vec![Measured {
                value: 1.0,
                sd: 0.5,
                says: Says::Equal,
            }],
            shared: &shared,
            known: Known {
                mean: DVector::zeros(1),
                covariance: DMatrix::identity(1, 1),
                precision: DMatrix::identity(1, 1),
            },
            bounded: None,
        };
        let free = problem.solve([DVector::zeros(1)]).expect("a start");
        assert!((free.unknowns[0] - 0.8).abs() < 1e-12);
        assert!((free.covariance[(0, 0)] - 0.2).abs() < 1e-12);
        assert!((free.cost - 0.8).abs() < 1e-12);
        problem.bounded = Some(Bounded {
            unknown: 0,
            range: -0.5..=0.5,
        });
        let held = problem.solve([DVector::zeros(1)]).expect("a start");
        assert_eq!(held.unknowns[0], 0.5);
        // One for a misfit of one standard deviation, a quarter for the prior's half.
        assert!((held.cost - 1.25).abs() < 1e-12);
        assert!(problem.solve([]).is_none());
    }
}
