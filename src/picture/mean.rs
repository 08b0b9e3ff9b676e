//! Several readings of one tube as one paint.
//!
//! Every card has a unit of its own, so the readings are first brought to one: by the factor between them that all their constants
//! agree on best. Then logarithms are averaged. One scanner errs alike on all of its cards, so only half of what each reading leaves
//! open averages out (ours); what the readings differ by, beyond their unit, is added.

use nalgebra::SVector;

use crate::{
    paint::{Constants, Covariance, UNKNOWNS},
    spectrum::BANDS,
};

/// Share of a reading's own variance that other readings do not take away (ours).
const SHARED: f64 = 0.5;

type Logs = SVector<f64, UNKNOWNS>;

fn logs(paint: &Constants) -> Logs {
    Logs::from_fn(|i, _| match i / BANDS {
        0 => libm::log(paint.absorption[i]),
        1 => libm::log(paint.scattering[i - BANDS]),
        _ => paint.anisotropy,
    })
}

/// How many films of `of` make one of `to`, in logarithms: the mean over all bands of K and S, the surer the heavier.
fn unit(to: &Constants, of: &Constants) -> f64 {
    let apart = logs(to) - logs(of);
    let (mut sum, mut whole) = (0.0, 0.0);
    for i in 0..2 * BANDS {
        // Exact constants still weigh like those of a very good card.
        let weight = 1.0 / (to.covariance[(i, i)] + of.covariance[(i, i)] + 1e-4);
        sum += weight * apart[i];
        whole += weight;
    }
    sum / whole
}

/// The mean of `readings`, per film of the card of `to`. Without readings `to` itself.
pub fn mean(to: &Constants, readings: &[&Constants]) -> Constants {
    if readings.is_empty() {
        return to.clone();
    }
    let n = readings.len() as f64;
    let all: Vec<Logs> = readings
        .iter()
        .map(|of| {
            let by = unit(to, of);
            logs(of) + Logs::from_fn(|i, _| if i < 2 * BANDS { by } else { 0.0 })
        })
        .collect();
    let mean = all.iter().sum::<Logs>() / n;
    let own = readings
        .iter()
        .fold(Covariance::zeros(), |sum, of| sum + of.covariance)
        / n;
    let between = all.iter().fold(Covariance::zeros(), |sum, one| {
        let off = one - mean;
        sum + off * off.transpose()
    }) / (n - 1.0).max(1.0);
    Constants {
        absorption: std::array::from_fn(|b| libm::exp(mean[b])),
        scattering: std::array::from_fn(|b| libm::exp(mean[BANDS + b])),
        anisotropy: mean[2 * BANDS],
        covariance: own * (SHARED + (1.0 - SHARED) / n) + between / n,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn paint(scale: f64, tilt: f64) -> Constants {
        Constants {
            absorption: std::array::from_fn(|b| scale * libm::exp(tilt * b as f64 / 30.0)),
            scattering: [0.2 * scale; BANDS],
            anisotropy: 0.4,
            covariance: Covariance::identity() * 1e-3,
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(24))]

        /// Cards of one paint drawn thin and thick give that paint, in the unit of the one that is asked.
        #[test]
        fn readings_of_one_paint_are_that_paint(a in 0.2_f64..5.0, b in 0.2_f64..5.0, tilt in -2.0_f64..2.0) {
            let (one, other) = (paint(a, tilt), paint(b, tilt));
            let mean = mean(&one, &[&one, &other]);
            for band in 0..BANDS {
                prop_assert!((mean.absorption[band] / one.absorption[band] - 1.0).abs() < 1e-9);
                prop_assert!((mean.scattering[band] / one.scattering[band] - 1.0).abs() < 1e-9);
            }
            prop_assert!(mean.covariance.trace() < one.covariance.trace());
        }
    }

    #[test]
    fn readings_that_differ_widen_the_mean() {
        let (one, near, far) = (paint(1.0, 1.0), paint(1.0, 1.02), paint(1.0, 2.0));
        let alike = mean(&one, &[&one, &near]).covariance.trace();
        let apart = mean(&one, &[&one, &far]).covariance.trace();
        assert!(apart > 2.0 * alike, "{apart} beside {alike}");
        // One reading alone is itself.
        assert_eq!(mean(&one, &[]), one);
    }
}
