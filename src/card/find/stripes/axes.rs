//! Directions of a group of bars, and its columns.

use nalgebra::Vector2;

use super::super::bars::{Bar, quarter};
use crate::order::sort_by_number;

/// Directions of a card in the picture. Positions (u, v) run across and along the stripes, in pixels, from `origin`.
#[derive(Debug, Clone)]
pub(super) struct Axes {
    origin: Vector2<f64>,
    across: Vector2<f64>,
    along: Vector2<f64>,
}

impl Axes {
    /// With `along` pointing down the picture, or to the right where the stripes lie more sideways than upright,
    /// so that (across, along) is a picture turned, not mirrored.
    fn new(origin: Vector2<f64>, across: Vector2<f64>) -> Self {
        let along = quarter(across);
        let forward = if along.y.abs() >= along.x.abs() {
            along.y > 0.0
        } else {
            along.x > 0.0
        };
        if forward {
            Self {
                origin,
                across,
                along,
            }
        } else {
            Self {
                origin,
                across: -across,
                along: -along,
            }
        }
    }

    pub(super) fn place(&self, u: f64, v: f64) -> Vector2<f64> {
        self.origin + self.across * u + self.along * v
    }

    pub(super) fn of(&self, p: Vector2<f64>) -> (f64, f64) {
        let d = p - self.origin;
        (d.dot(&self.across), d.dot(&self.along))
    }
}

/// Direction and origin of a group: the bars' mean direction, weighted by length, then turned a little so that pieces
/// of one stripe fall into line.
pub(super) fn axes(group: &[Bar]) -> Axes {
    let longest = group
        .iter()
        .fold(&group[0], |a, b| if b.length > a.length { b } else { a });
    let mut across = Vector2::zeros();
    let mut centre = Vector2::zeros();
    let mut area = 0.0;
    for bar in group {
        let sign = if bar.across.dot(&longest.across) < 0.0 {
            -1.0
        } else {
            1.0
        };
        across += bar.across * sign * bar.length * bar.length;
        centre += bar.centre * bar.area();
        area += bar.area();
    }
    let axes = Axes::new(centre / area, across.normalize());
    let spread = |turn: f64| {
        let turned = Axes::new(axes.origin, nalgebra::Rotation2::new(turn) * axes.across);
        let mut at: Vec<(f64, f64)> = group
            .iter()
            .map(|b| (turned.of(b.centre).0, b.length))
            .collect();
        sort_by_number(&mut at, |bar| bar.0);
        at.windows(2)
            .map(|p| (p[1].0 - p[0].0).min(4.0) * p[0].1.min(p[1].1))
            .sum::<f64>()
    };
    // The longest bar's direction is good to about two pixels over its length.
    let most = (2.0 / longest.length).min(0.06);
    let turns = (-20..=20).map(|k| f64::from(k) / 20.0 * most);
    let cost = |t: f64| spread(t) * (1.0 + t.abs());
    let best = turns.fold(0.0, |a: f64, t| if cost(t) < cost(a) { t } else { a });
    Axes::new(axes.origin, nalgebra::Rotation2::new(best) * axes.across)
}

/// Bars gathered into stripes: left and right edges, from left to right.
pub(super) fn columns(axes: &Axes, group: &[Bar]) -> Vec<[f64; 2]> {
    let mut bars: Vec<(f64, &Bar)> = group.iter().map(|b| (axes.of(b.centre).0, b)).collect();
    sort_by_number(&mut bars, |bar| bar.0);
    let mut columns: Vec<Vec<(f64, &Bar)>> = Vec::new();
    for (u, bar) in bars {
        match columns.last_mut() {
            Some(column) if u - column[0].0 < 0.3 * bar.width + 2.0 => column.push((u, bar)),
            _ => columns.push(vec![(u, bar)]),
        }
    }
    columns
        .iter()
        .map(|column| {
            let length: f64 = column.iter().map(|(_, b)| b.length).sum();
            let mean = |f: &dyn Fn(&(f64, &Bar)) -> f64| {
                column.iter().map(|c| f(c) * c.1.length).sum::<f64>() / length
            };
            let (u, width) = (mean(&|c| c.0), mean(&|c| c.1.width));
            [u - width / 2.0, u + width / 2.0]
        })
        .collect()
}
