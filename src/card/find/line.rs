//! Straight lines through places that were measured.

use super::bars::median;

/// A place that a line passes through, with the inverse of its variance.
#[derive(Debug, Clone, Copy)]
pub(super) struct Point {
    pub(super) u: f64,
    pub(super) v: f64,
    pub(super) weight: f64,
}

/// v = `at` + `slope` u.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    pub(super) at: f64,
    pub(super) slope: f64,
}

impl Line {
    pub(super) fn v(&self, u: f64) -> f64 {
        self.at + self.slope * u
    }

    /// The line further down by a distance.
    pub(super) fn moved(self, down: f64) -> Self {
        Self {
            at: self.at + down,
            ..self
        }
    }
}

/// How far edges across the stripes lie off the right angle, as a slope (assumed: one degree).
const SLANT: f64 = 0.0175;

/// Line by least squares, reweighted so that points further off than about `spread` lose their say. The slope is drawn
/// to a right angle where the points leave it open.
pub(super) fn robust(points: &[Point], spread: f64) -> Line {
    let mut weights: Vec<f64> = points.iter().map(|p| p.weight).collect();
    let mut line = Line {
        at: 0.0,
        slope: 0.0,
    };
    for _ in 0..12 {
        let total: f64 = weights.iter().sum::<f64>().max(1e-12);
        let sum = |f: &dyn Fn(&Point) -> f64| {
            points
                .iter()
                .zip(&weights)
                .map(|(p, w)| w * f(p))
                .sum::<f64>()
        };
        let (mu, mv) = (sum(&|p| p.u) / total, sum(&|p| p.v) / total);
        let spread_u = sum(&|p| (p.u - mu) * (p.u - mu)) + 1.0 / (SLANT * SLANT);
        let slope = sum(&|p| (p.u - mu) * (p.v - mv)) / spread_u;
        line = Line {
            at: mv - slope * mu,
            slope,
        };
        let mut sizes: Vec<f32> = points
            .iter()
            .map(|p| (p.v - line.v(p.u)).abs() as f32)
            .collect();
        let seen = (1.4826 * f64::from(median(&mut sizes))).max(spread);
        for (weight, p) in weights.iter_mut().zip(points) {
            let r = (p.v - line.v(p.u)) / (2.0 * seen);
            *weight = p.weight / ((1.0 + r * r) * (1.0 + r * r));
        }
    }
    line
}

#[cfg(test)]
mod tests {
    use super::*;

    fn points() -> Vec<Point> {
        let at = |k: i32| Point {
            u: 20.0 * f64::from(k),
            v: 5.0 + 0.8 * f64::from(k),
            weight: 10.0,
        };
        (0..9).map(at).collect()
    }

    #[test]
    fn an_outlier_loses_its_say() {
        let mut points = points();
        points[4].v = 60.0;
        let line = robust(&points, 0.1);
        assert!((line.v(80.0) - 8.2).abs() < 0.1 && (line.slope - 0.04).abs() < 0.003);
    }

    #[test]
    fn few_points_close_together_say_little_about_the_slope() {
        let line = robust(&points()[..1], 0.1);
        assert!(line.slope.abs() < 1e-9 && (line.at - 5.0).abs() < 1e-9);
        let near = [
            Point {
                u: 0.0,
                v: 0.0,
                weight: 1.0,
            },
            Point {
                u: 10.0,
                v: 1.0,
                weight: 1.0,
            },
        ];
        assert!(robust(&near, 0.1).slope < 0.01);
    }
}
