//! What painted patches say of one tube: how thick the painter's coat is, and whether it scatters as its card says.
//!
//! A thinned paint may veil more than its card foretells: the medium keeps its particles further apart, and each scatters better
//! (common practice, no source for how much). A patch also hangs on the coat, which no two painters brush alike. So both are
//! solved together, in logarithms, from all patches of the tube at once (Gauss-Newton on L*, a*, b*; Tarantola, Inverse Problem
//! Theory (2005), 3.2). What the card leaves open is common to all patches and stands in the covariance of the data.

use nalgebra::{DMatrix, DVector, Matrix2, Matrix3, Vector2};

use super::{Ground, wanted::film_lab};
use crate::{
    colour::Lab,
    paint::{Constants, UNKNOWNS},
};

/// A patch of one tube alone.
#[derive(Debug, Clone)]
pub struct Painted {
    /// What lies below.
    pub ground: Ground,
    /// How it came out.
    pub lab: Lab,
    /// Covariance of that.
    pub spread: Matrix3<f64>,
    /// How many coats, thinning counted: the patch's build is this times the build of one coat of paint alone.
    pub coats: f64,
}

/// What patches say of a tube.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Learned {
    /// Build of one coat, in units of the card's own film.
    pub coat: f64,
    /// How many times as much as on its card the paint scatters.
    pub scatter: f64,
    /// Standard deviation of the logarithm of [`Learned::scatter`].
    pub scatter_log_sd: f64,
}

/// How far one coat may be from the next: a quarter (ours).
pub const ONE_COAT_SD: f64 = 0.22;
/// Standard deviation of the logarithm of a coat before its first patch: a factor of three (ours).
const COAT_SD: f64 = 1.1;
/// The same of the factor of scatter: half as much again (ours).
const SCATTER_SD: f64 = 0.4;
/// What a prediction misses besides, in L* (ours).
const MISSES: f64 = 0.7;
/// Growth of that with chroma, for a* and b* (CIE 116-1995, S_C).
const BY_CHROMA: f64 = 0.045;
/// Steps of the logarithms for slopes.
const STEP: f64 = 0.01;

/// What patches say of `paint`, whose coats were planned as thick as `planned`; `None` without patches.
pub fn learn(paint: &Constants, planned: f64, patches: &[Painted]) -> Option<Learned> {
    if patches.is_empty() || planned <= 0.0 {
        return None;
    }
    let seen = |x: &Vector2<f64>| -> DVector<f64> {
        let paint = paint.scattering_times(libm::exp(x[1]));
        let labs = patches.iter().flat_map(|patch| {
            let build = (patch.coats * planned * libm::exp(x[0])).min(super::MOST_BUILD);
            let Lab { l, a, b, .. } = film_lab(&paint, build, &patch.ground);
            [l, a, b]
        });
        DVector::from_iterator(3 * patches.len(), labs)
    };
    let painted = patches
        .iter()
        .flat_map(|patch| [patch.lab.l, patch.lab.a, patch.lab.b]);
    let painted = DVector::from_iterator(3 * patches.len(), painted);
    let inverse_prior = Matrix2::new(COAT_SD.powi(-2), 0.0, 0.0, SCATTER_SD.powi(-2));
    let slopes = |x: &Vector2<f64>| -> DMatrix<f64> {
        let along = |i: usize| {
            let step = |d: f64| {
                let mut moved = *x;
                moved[i] += d;
                seen(&moved)
            };
            (step(STEP) - step(-STEP)) / (2.0 * STEP)
        };
        DMatrix::from_columns(&[along(0), along(1)])
    };
    // Half of what is missed by and what is far from usual; `None` for numbers that are none.
    let cost = |x: &Vector2<f64>, inverse: &DMatrix<f64>| {
        let off = &painted - seen(x);
        0.5 * (off.dot(&(inverse * &off)) + x.dot(&(inverse_prior * x)))
    };
    // A dark ground tells of scatter, a light one of the coat: whichever start ends lower is the answer.
    let mut best: Option<(f64, Vector2<f64>, Matrix2<f64>)> = None;
    for start in [-1.0, 0.0, 1.0] {
        let mut x = Vector2::new(start, 0.0);
        for _ in 0..25 {
            let j = slopes(&x);
            let inverse = spread(paint, planned, patches, &x, &j).try_inverse()?;
            let off = &painted - seen(&x);
            let pull = Vector2::from_iterator((j.transpose() * &inverse * &off).iter().copied());
            let curve = j.transpose() * &inverse * &j;
            let curve = Matrix2::from_fn(|i, k| curve[(i, k)]) + inverse_prior;
            let step = curve.try_inverse()? * (pull - inverse_prior * x);
            let before = cost(&x, &inverse);
            let shorter = (0..6).map(|halvings| step * 0.5_f64.powi(halvings));
            let Some(taken) = shorter
                .map(|step| step.map(|d| d.clamp(-0.7, 0.7)))
                .find(|step| cost(&(x + step), &inverse) < before)
            else {
                break;
            };
            x += taken;
            if taken.amax() < 1e-4 {
                break;
            }
        }
        let j = slopes(&x);
        let inverse = spread(paint, planned, patches, &x, &j).try_inverse()?;
        let curve = j.transpose() * &inverse * &j;
        let covariance = (Matrix2::from_fn(|i, k| curve[(i, k)]) + inverse_prior).try_inverse()?;
        let cost = cost(&x, &inverse);
        if cost.is_finite() && best.is_none_or(|(least, ..)| cost < least) {
            best = Some((cost, x, covariance));
        }
    }
    let (_, x, covariance) = best?;
    Some(Learned {
        coat: planned * libm::exp(x[0]),
        scatter: libm::exp(x[1]),
        scatter_log_sd: covariance[(1, 1)].max(0.0).sqrt(),
    })
}

/// What a prediction of this colour misses besides, in L*, a*, b*.
pub(super) fn misses(lab: Lab) -> [f64; 3] {
    let coloured = MISSES * (1.0 + BY_CHROMA * libm::hypot(lab.a, lab.b));
    [MISSES, coloured, coloured]
}

/// Covariance of the patches' colours about their prediction, coat and scatter being right.
fn spread(
    paint: &Constants,
    planned: f64,
    patches: &[Painted],
    x: &Vector2<f64>,
    slopes: &DMatrix<f64>,
) -> DMatrix<f64> {
    let paint = paint.scattering_times(libm::exp(x[1]));
    let mut by_constants = DMatrix::zeros(3 * patches.len(), UNKNOWNS);
    let mut covariance = DMatrix::zeros(3 * patches.len(), 3 * patches.len());
    for (i, patch) in patches.iter().enumerate() {
        let build = (patch.coats * planned * libm::exp(x[0])).min(super::MOST_BUILD);
        let seen = paint.over(build, &patch.ground.internal);
        by_constants
            .rows_mut(3 * i, 3)
            .copy_from(&seen.lab_slopes());
        let misses = misses(patch.lab);
        for axis in 0..3 {
            for other in 0..3 {
                // Coats differ from patch to patch.
                let coat = slopes[(3 * i + axis, 0)] * slopes[(3 * i + other, 0)];
                covariance[(3 * i + axis, 3 * i + other)] =
                    patch.spread[(axis, other)] + ONE_COAT_SD * ONE_COAT_SD * coat;
            }
            covariance[(3 * i + axis, 3 * i + axis)] += misses[axis].powi(2);
        }
    }
    covariance + &by_constants * paint.covariance * by_constants.transpose()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        paint::Covariance,
        spectrum::{BANDS, Bands},
    };

    fn white() -> Constants {
        let k: Bands = std::array::from_fn(|b| 0.02 + 0.001 * (BANDS - b) as f64);
        Constants {
            absorption: k,
            scattering: [1.5; BANDS],
            anisotropy: 0.5,
            covariance: Covariance::identity() * 4e-4,
        }
    }

    fn patches(paint: &Constants, coat: f64, coats: &[f64], lightness: &[f64]) -> Vec<Painted> {
        coats
            .iter()
            .zip(lightness)
            .map(|(&coats, &l)| {
                let ground = Ground::of(Lab::new(l, 0.0, 0.0));
                Painted {
                    lab: film_lab(paint, coat * coats, &ground),
                    spread: Matrix3::identity() * 0.09,
                    ground,
                    coats,
                }
            })
            .collect()
    }

    /// A film of K x and S x is told apart from one of K x and 1.6 S x where a tinted white lies over light and dark.
    #[test]
    fn more_scatter_is_seen_over_light_and_dark() {
        let mut card = white();
        card.absorption = std::array::from_fn(|b| 0.3 + 0.4 * (b as f64 / 30.0));
        let real = card.scattering_times(1.6);
        let painted = patches(&real, 0.5, &[1.0, 1.0, 2.0, 2.0], &[25.0, 85.0, 25.0, 60.0]);
        let learned = learn(&card, 0.8, &painted).unwrap();
        assert!((learned.scatter / 1.6 - 1.0).abs() < 0.12, "{learned:?}");
        assert!((learned.coat / 0.5 - 1.0).abs() < 0.15, "{learned:?}");
        assert!(learned.scatter_log_sd < 0.2, "{learned:?}");
    }

    #[test]
    fn a_paint_as_its_card_says_is_left_alone() {
        let card = white();
        let painted = patches(&card, 0.5, &[1.0, 1.0], &[25.0, 85.0]);
        let learned = learn(&card, 0.6, &painted).unwrap();
        assert!(
            libm::log(learned.scatter).abs() < learned.scatter_log_sd,
            "{learned:?}"
        );
    }

    /// Over one light ground, coat and scatter of a glaze are one and the same: the answer says that it does not know.
    #[test]
    fn one_patch_over_white_leaves_the_scatter_open() {
        let mut card = white();
        card.scattering = [0.02; BANDS];
        let painted = patches(&card, 0.5, &[1.0], &[95.0]);
        let learned = learn(&card, 0.6, &painted).unwrap();
        assert!(learned.scatter_log_sd > 0.3, "{learned:?}");
        assert!(learn(&card, 0.6, &[]).is_none());
    }
}
