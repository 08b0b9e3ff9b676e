//! From the covariance of the constants to the range of a predicted colour.
//!
//! The pass is linear: Lab changes along the unknowns by its slopes, which gives a 3 x 3 covariance of Lab, and the range
//! is the 90th percentile of CIEDE2000 over that normal distribution. Unknowns drawn and pushed through exp() and the
//! optics explode instead (three times too wide).

use std::sync::LazyLock;

use nalgebra::{Matrix3, SymmetricEigen, Vector3};

use crate::colour::{self, Lab};

/// Share of cases that a range is meant to hold.
pub const HELD: f64 = 0.9;

const DIRECTIONS: usize = 48;
const SHELLS: usize = 10;
/// Shells that are taken to lie below the percentile: those of a radius below 1.645.
const INNER: usize = 6;

/// 90th percentile of CIEDE2000 between `centre` and colours spread about it with covariance `spread` (of L*, a*, b*).
///
/// The normal distribution stands as a fixed set of points, so the answer is the same every time: directions on a
/// Fibonacci spiral, radii at the middle quantiles of the chi distribution of three degrees.
///
/// Whatever the shape of the spread, were differences straight, the percentile would be no less than that of one axis alone, 1.645
/// standard deviations, which no point of a radius below that reaches. So the inner half of the shells is taken to lie below it; where
/// the outermost of these does not, all are looked at.
pub fn range(centre: Lab, spread: &Matrix3<f64>) -> f64 {
    let axes = principal_axes(spread);
    let from = colour::DifferenceFrom::new(centre);
    let shell = |radius: f64| {
        SPHERE.iter().map(move |direction| {
            let d = axes * (direction * radius);
            from.to(Lab::new(centre.l + d.x, centre.a + d.y, centre.b + d.z))
        })
    };
    let (inner, outer) = CHI3.split_at(INNER);
    let mut far: Vec<f64> = outer.iter().flat_map(|&radius| shell(radius)).collect();
    let range = percentile(&mut far, INNER * DIRECTIONS);
    if shell(inner[INNER - 1]).all(|difference| difference < range) {
        return range;
    }
    far.extend(inner.iter().flat_map(|&radius| shell(radius)));
    percentile(&mut far, 0)
}

/// [`HELD`] of these differences and `below` smaller ones.
fn percentile(far: &mut [f64], below: usize) -> f64 {
    // Only two neighbours are wanted of the order.
    let rank = HELD * (below + far.len() - 1) as f64;
    let place = rank as usize;
    let share = rank - place as f64;
    let (_, at, above) = far.select_nth_unstable_by(place - below, f64::total_cmp);
    let at = *at;
    let next = above.iter().copied().min_by(f64::total_cmp).unwrap_or(at);
    at * (1.0 - share) + next * share
}

/// A square root of the covariance: its principal axes scaled by their standard deviations.
pub fn principal_axes(spread: &Matrix3<f64>) -> Matrix3<f64> {
    let eigen = SymmetricEigen::new(*spread);
    let scale = eigen.eigenvalues.map(|v| v.max(0.0).sqrt());
    eigen.eigenvectors * Matrix3::from_diagonal(&scale)
}

/// Quantiles (2 i + 1) / 20 of the chi distribution with three degrees of freedom (scipy.stats.chi.ppf, SciPy 1.17).
const CHI3: [f64; SHELLS] = [
    0.593166, 0.893181, 1.101151, 1.281240, 1.452400, 1.625732, 1.811936, 2.026905, 2.305872,
    2.795483,
];

/// The golden angle spreads points evenly (Swinbank and Purser, Q. J. R. Meteorol. Soc. 132 (2006) 1769).
static SPHERE: LazyLock<[Vector3<f64>; DIRECTIONS]> = LazyLock::new(|| {
    let golden = std::f64::consts::PI * (3.0 - 5.0_f64.sqrt());
    std::array::from_fn(|i| {
        let z = 1.0 - (2 * i + 1) as f64 / DIRECTIONS as f64;
        let r = (1.0 - z * z).sqrt();
        let turn = golden * i as f64;
        Vector3::new(r * libm::cos(turn), r * libm::sin(turn), z)
    })
});

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// For a spread along L* alone at L* 50 (where SL is 1) the range is the 90 % point of |N(0, 1)|: 1.6449 (standard
    /// normal table).
    #[test]
    fn one_axis_gives_the_normal_tables_number() {
        let spread = Matrix3::from_diagonal(&Vector3::new(0.01, 0.0, 0.0));
        let r = range(Lab::new(50.0, 0.0, 0.0), &spread);
        assert!((r / 0.16449 - 1.0).abs() < 0.04, "{r}");
    }

    proptest! {
        /// Leaving the inner shells out changes nothing, whatever the colour and however wide and long the spread.
        #[test]
        fn inner_shells_change_nothing(
            l in 0.0..100.0, a in -90.0..90.0, b in -90.0..90.0,
            root in proptest::array::uniform9(-1.0..1.0), scale in -3.0..3.4,
        ) {
            let root = Matrix3::from_row_slice(&root) * libm::exp(scale);
            let (centre, spread) = (Lab::new(l, a, b), root * root.transpose());
            let axes = principal_axes(&spread);
            let mut all: Vec<f64> = CHI3
                .iter()
                .flat_map(|&radius| SPHERE.iter().map(move |direction| axes * (direction * radius)))
                .map(|d| colour::difference(centre, Lab::new(l + d.x, a + d.y, b + d.z)))
                .collect();
            let (plain, quick) = (percentile(&mut all, 0), range(centre, &spread));
            prop_assert!((plain - quick).abs() < 0.005 * plain, "{plain} {quick}");
        }
    }

    #[test]
    fn no_spread_no_range() {
        assert_eq!(range(Lab::new(50.0, 10.0, 0.0), &Matrix3::zeros()), 0.0);
    }
}
