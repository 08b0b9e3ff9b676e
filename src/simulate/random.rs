//! Seeded random numbers and smooth random curves.

use rand_core::{Rng, SeedableRng};
use rand_pcg::Pcg64;

/// A seeded stream of random numbers, the same on every machine.
#[derive(Debug, Clone)]
pub struct Random(Pcg64);

impl Random {
    /// A stream of its own for every seed.
    pub fn new(seed: u64) -> Self {
        Self(Pcg64::seed_from_u64(seed))
    }

    /// A stream that depends on `seed` and on what it is for, so that adding one trouble does not shuffle the others.
    pub fn of(seed: u64, purpose: &str) -> Self {
        // FNV-1a (Fowler, Noll, Vo; IETF draft-eastlake-fnv): spreads the purpose over 64 bits.
        let hash = purpose.bytes().fold(0xcbf2_9ce4_8422_2325_u64, |h, b| {
            (h ^ u64::from(b)).wrapping_mul(0x100_0000_01b3)
        });
        Self::new(seed ^ hash)
    }

    /// Uniform in 0 to 1, 1 excluded.
    pub fn unit(&mut self) -> f64 {
        // 53 bits, the mantissa of f64.
        (self.0.next_u64() >> 11) as f64 / (1u64 << 53) as f64
    }

    /// Uniform between two bounds.
    pub fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.unit()
    }

    /// Uniform in the logarithm between two positive bounds.
    pub fn between_log(&mut self, low: f64, high: f64) -> f64 {
        libm::exp(self.between(libm::log(low), libm::log(high)))
    }

    /// Uniform in 0 to `n` - 1.
    pub fn below(&mut self, n: usize) -> usize {
        ((self.unit() * n as f64) as usize).min(n.saturating_sub(1))
    }

    /// Uniform in `low` to `high`, both included.
    pub fn whole(&mut self, low: usize, high: usize) -> usize {
        low + self.below(high - low + 1)
    }

    /// True with probability `p`.
    pub fn chance(&mut self, p: f64) -> bool {
        self.unit() < p
    }

    /// One of several. Panics on an empty slice.
    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.below(of.len())]
    }

    /// Standard normal (Box and Muller 1958).
    pub fn normal(&mut self) -> f64 {
        let radius = libm::sqrt(-2.0 * libm::log(1.0 - self.unit()));
        radius * libm::cos(std::f64::consts::TAU * self.unit())
    }

    /// A seed for another stream.
    pub fn seed(&mut self) -> u64 {
        self.0.next_u64()
    }
}

/// Number of knots of a [`Ripple`]; it repeats after that many wavelengths.
const KNOTS: usize = 512;

/// A smooth random curve with mean 0 and standard deviation near 1.
#[derive(Debug, Clone)]
pub struct Ripple {
    knots: Vec<f32>,
    per_mm: f64,
}

impl Ripple {
    /// A curve that changes over about `wavelength` mm.
    pub fn new(random: &mut Random, wavelength: f64) -> Self {
        let raw: Vec<f64> = (0..KNOTS).map(|_| random.normal()).collect();
        let mean = raw.iter().sum::<f64>() / KNOTS as f64;
        // Cosine blending between knots lowers the variance to 3/4.
        let scale = 1.0 / libm::sqrt(0.75);
        Self {
            knots: raw.iter().map(|v| ((v - mean) * scale) as f32).collect(),
            per_mm: 1.0 / wavelength,
        }
    }

    /// The curve at a position in mm.
    #[inline]
    pub fn at(&self, position: f64) -> f64 {
        let t = position * self.per_mm;
        let floor = t.floor();
        let f = t - floor;
        let i = (floor as i64).rem_euclid(KNOTS as i64) as usize;
        let (a, b) = (
            f64::from(self.knots[i]),
            f64::from(self.knots[(i + 1) % KNOTS]),
        );
        a + (b - a) * f * f * (3.0 - 2.0 * f)
    }
}

/// Knots along one side of a [`Mottle`].
const SIDE: usize = 64;

/// A smooth random surface with mean 0 and standard deviation near 1.
#[derive(Debug, Clone)]
pub struct Mottle {
    knots: Vec<f32>,
    per_mm: f64,
}

impl Mottle {
    /// A surface that changes over about `wavelength` mm.
    pub fn new(random: &mut Random, wavelength: f64) -> Self {
        let knots = (0..SIDE * SIDE)
            .map(|_| (random.normal() / 0.75) as f32)
            .collect();
        Self {
            knots,
            per_mm: 1.0 / wavelength,
        }
    }

    /// The surface at a position in mm.
    #[inline]
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let (x, y) = (x * self.per_mm, y * self.per_mm);
        let (fx, fy) = (x - x.floor(), y - y.floor());
        let (i, j) = (
            (x.floor() as i64).rem_euclid(SIDE as i64) as usize,
            (y.floor() as i64).rem_euclid(SIDE as i64) as usize,
        );
        let (i1, j1) = ((i + 1) % SIDE, (j + 1) % SIDE);
        let (sx, sy) = (fx * fx * (3.0 - 2.0 * fx), fy * fy * (3.0 - 2.0 * fy));
        let k = |i: usize, j: usize| f64::from(self.knots[j * SIDE + i]);
        let (top, bottom) = (
            k(i, j) + (k(i1, j) - k(i, j)) * sx,
            k(i, j1) + (k(i1, j1) - k(i, j1)) * sx,
        );
        top + (bottom - top) * sy
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn moments(values: &[f64]) -> (f64, f64) {
        let n = values.len() as f64;
        let mean = values.iter().sum::<f64>() / n;
        (
            mean,
            libm::sqrt(values.iter().map(|v| (v - mean) * (v - mean)).sum::<f64>() / n),
        )
    }

    #[test]
    fn the_same_seed_gives_the_same_numbers_and_another_purpose_others() {
        let draw = |mut r: Random| (0..5).map(|_| r.seed()).collect::<Vec<_>>();
        assert_eq!(draw(Random::of(3, "dust")), draw(Random::of(3, "dust")));
        assert_ne!(draw(Random::of(3, "dust")), draw(Random::of(3, "hair")));
        assert_ne!(draw(Random::new(3)), draw(Random::new(4)));
    }

    #[test]
    fn numbers_have_the_moments_they_claim() {
        let mut r = Random::new(7);
        let (mean, sd) = moments(&(0..40_000).map(|_| r.normal()).collect::<Vec<_>>());
        assert!(mean.abs() < 0.02 && (sd - 1.0).abs() < 0.02, "{mean} {sd}");
        let (mean, sd) = moments(&(0..40_000).map(|_| r.unit()).collect::<Vec<_>>());
        assert!(
            (mean - 0.5).abs() < 0.01 && (sd - libm::sqrt(1.0 / 12.0)).abs() < 0.01,
            "{mean} {sd}"
        );
    }

    #[test]
    fn ripples_and_mottles_are_smooth_with_unit_spread() {
        let mut r = Random::new(1);
        let ripple = Ripple::new(&mut r, 2.0);
        let (mean, sd) = moments(
            &(0..20_000)
                .map(|i| ripple.at(f64::from(i) * 0.05))
                .collect::<Vec<_>>(),
        );
        assert!(mean.abs() < 0.1 && (sd - 1.0).abs() < 0.15, "{mean} {sd}");
        assert!((ripple.at(3.0) - ripple.at(3.001)).abs() < 0.01);
        let mottle = Mottle::new(&mut r, 2.0);
        let at = |i: i32| mottle.at(f64::from(i % 140) * 0.9, f64::from(i / 140) * 0.9);
        let (mean, sd) = moments(&(0..19_600).map(at).collect::<Vec<_>>());
        assert!(mean.abs() < 0.1 && (sd - 1.0).abs() < 0.2, "{mean} {sd}");
    }
}
