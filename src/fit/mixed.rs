//! One answer of several, where it is not known which suppositions are true.

use nalgebra::{DMatrix, DVector};

use super::Fitted;

/// How much of what the data say counts when suppositions are weighed against each other. None of them is quite the scanner that was
/// there, and what all get wrong alike would be taken for evidence: by the whole of it the ranges held less often (ours, chosen on rendered
/// cards; see DEVELOPERS.md, *Evidence counts half*).
const EVIDENCE: f64 = 0.5;

impl Fitted {
    /// One answer of several to the same data under different suppositions, all equally probable before: weighed by how well
    /// each explains the data ([`EVIDENCE`] of it), with the mean and the covariance of the mixture (law of total covariance). Also how
    /// probable each is now.
    ///
    /// # Panics
    /// Without any answers.
    pub fn mixed(parts: &[Self]) -> (Self, Vec<f64>) {
        let best = parts
            .iter()
            .min_by(|a, b| a.surprise.total_cmp(&b.surprise))
            .expect("at least one answer");
        let weights: Vec<f64> = parts
            .iter()
            .map(|f| libm::exp(-0.5 * EVIDENCE * (f.surprise - best.surprise)))
            .collect();
        let sum: f64 = weights.iter().sum();
        let weights: Vec<f64> = weights.iter().map(|w| w / sum).collect();
        let mean = |of: &dyn Fn(&Self) -> f64| -> f64 {
            weights.iter().zip(parts).map(|(w, f)| w * of(f)).sum()
        };
        let haze = mean(&|f| f.haze.0);
        let mut mixed = Self {
            log_absorption: std::array::from_fn(|b| mean(&|f| f.log_absorption[b])),
            log_scattering: std::array::from_fn(|b| mean(&|f| f.log_scattering[b])),
            log_builds: (0..best.log_builds.len())
                .map(|film| mean(&|f| f.log_builds[film]))
                .collect(),
            anisotropy: mean(&|f| f.anisotropy),
            haze: (
                haze,
                mean(&|f| f.haze.1 * f.haze.1 + (f.haze.0 - haze) * (f.haze.0 - haze)).sqrt(),
            ),
            fitted: (0..best.fitted.len())
                .map(|i| mean(&|f| f.fitted[i]))
                .collect(),
            covariance: DMatrix::zeros(best.covariance.nrows(), best.covariance.ncols()),
            ..best.clone()
        };
        let centre = mixed.unknowns();
        for (weight, part) in weights.iter().zip(parts) {
            let apart = part.unknowns() - &centre;
            mixed.covariance += *weight * (&part.covariance + &apart * apart.transpose());
        }
        (mixed, weights)
    }

    /// What [`Fitted::covariance`] is the covariance of.
    fn unknowns(&self) -> DVector<f64> {
        DVector::from_iterator(
            self.covariance.nrows(),
            self.log_absorption
                .iter()
                .chain(&self.log_scattering)
                .chain(&self.log_builds)
                .chain([&self.anisotropy])
                .copied(),
        )
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        fit::{Card, Datum, Optics, Prior, Says, fit, refit},
        spectrum::{BANDS, to_xyz_rows},
    };

    /// Two films over white and black.
    fn card(sd: f64) -> Card {
        let values = [
            [0.52, 0.45, 0.10],
            [0.06, 0.05, 0.03],
            [0.40, 0.30, 0.04],
            [0.07, 0.06, 0.03],
        ];
        let rows = to_xyz_rows();
        let data: Vec<Datum> = values
            .iter()
            .enumerate()
            .flat_map(|(i, xyz)| (0..3).map(move |axis| (i, axis, xyz[axis])))
            .map(|(i, axis, value)| Datum {
                film: i / 2,
                ground: i % 2,
                row: rows[axis],
                value,
                sd,
                says: Says::Equal,
            })
            .collect();
        Card {
            grounds: vec![[0.9; BANDS], [0.07; BANDS]],
            shared: DMatrix::zeros(data.len(), data.len()),
            data,
            haze: (0.0, 0.002),
            anisotropy: (0.4, 0.25),
            nominal: vec![1.0, 2.0],
            reference: 0,
        }
    }

    fn fitted(sd: f64) -> Fitted {
        fit(&card(sd), &Prior::default(), Optics::Transport)
    }

    #[test]
    fn a_second_fit_from_the_first_stays_there() {
        let first = fitted(0.003);
        let again = refit(&card(0.003), &Prior::default(), &first);
        assert!((again.cost - first.cost).abs() < 1e-4 * first.cost);
        assert!((again.surprise - first.surprise).abs() < 0.01);
        for band in 0..BANDS {
            assert!((again.log_absorption[band] - first.log_absorption[band]).abs() < 0.01);
        }
    }

    #[test]
    fn equal_answers_mix_to_themselves() {
        let one = fitted(0.003);
        let (both, weights) = Fitted::mixed(&[one.clone(), one.clone()]);
        assert_eq!(weights, [0.5, 0.5]);
        assert!((both.unknowns() - one.unknowns()).amax() < 1e-12);
        assert!((both.covariance - &one.covariance).amax() < 1e-12);
    }

    /// Moments of a mixture of two: mean of the means, mean of the covariances plus the covariance of the means.
    #[test]
    fn answers_that_differ_widen_each_other() {
        let one = fitted(0.003);
        let mut other = one.clone();
        other.log_absorption[7] += 0.4;
        let (both, _) = Fitted::mixed(&[one.clone(), other]);
        assert!((both.log_absorption[7] - one.log_absorption[7] - 0.2).abs() < 1e-12);
        assert!((both.covariance[(7, 7)] - one.covariance[(7, 7)] - 0.04).abs() < 1e-12);
        assert!((both.covariance[(8, 8)] - one.covariance[(8, 8)]).abs() < 1e-12);
    }

    /// Cells that miss what the constants can give by 0.02 are no work of a scanner that errs by 0.001.
    #[test]
    fn what_explains_the_cells_weighs_more() {
        let mut spoilt = card(0.001);
        // Thicker, and lighter over white in X alone: no film does that.
        spoilt.data[6].value += 0.16;
        let mut loose = spoilt.clone();
        loose.data.iter_mut().for_each(|d| d.sd = 0.05);
        let prior = Prior::default();
        let [tight, loose] = [&spoilt, &loose].map(|c| fit(c, &prior, Optics::Transport));
        assert!(loose.surprise < tight.surprise);
        let (_, weights) = Fitted::mixed(&[tight, loose]);
        assert!(weights[1] > 0.99, "{weights:?}");
    }
}
