//! Straight pieces of strong edges: where black paint or ink meets white card.

use imageproc::{definitions::Image, filter::separable_filter_equal};
use nalgebra::{Vector2, vector};

use super::{bars::median, picture::Picture};

/// A straight edge between dark and bright.
#[derive(Debug, Clone)]
pub(super) struct Segment {
    pub(super) centre: Vector2<f64>,
    /// Unit vector across the edge, from dark to bright.
    pub(super) normal: Vector2<f64>,
    /// Half its length.
    pub(super) half: f64,
}

/// Smallest step, as a share of the picture's own range from dark to bright, that counts as a strong edge.
const STEP: f32 = 0.22;
/// Slope that a step of 1 reaches at its steepest after the smoothing below.
const SLOPE: f32 = 0.3125;
/// How far the gradient may turn away from a piece's mean direction (22.5 degrees; von Gioi et al. 2010,
/// doi:10.1109/TPAMI.2008.300).
const COS_TOLERANCE: f64 = 0.923_879_532_511_286_7;
/// Shortest piece kept, in pixels.
const SHORTEST: f64 = 7.0;
/// At most so many pieces are kept, the longest first.
const MOST: usize = 3000;

/// Finds straight edges by growing regions of like gradient direction (after von Gioi et al. 2010).
pub(super) fn segments(picture: &Picture) -> Vec<Segment> {
    let (width, height) = (picture.width, picture.height);
    let smooth = smoothed(picture);
    let (dark, bright) = range(&smooth);
    let threshold = STEP * SLOPE * (bright - dark).max(0.05);
    let gradient = Gradient::of(&smooth, width, height, threshold);

    let mut seeds: Vec<usize> = (0..width * height)
        .filter(|&i| gradient.strength(i) > 0.0)
        .collect();
    seeds.sort_unstable_by(|&a, &b| {
        gradient
            .strength(b)
            .total_cmp(&gradient.strength(a))
            .then(a.cmp(&b))
    });
    let mut used = vec![false; width * height];
    let mut found = Vec::new();
    let mut region = Vec::new();
    for seed in seeds {
        if !used[seed] {
            grow(seed, &gradient, width, &mut used, &mut region);
            found.extend(fit(&region, &gradient, width));
        }
    }
    crate::order::sort_by_number(&mut found, |found| -found.half);
    found.truncate(MOST);
    found
}

/// Brightest channel, smoothed by a binomial of 5 by 5.
fn smoothed(picture: &Picture) -> Vec<f32> {
    let image = Image::<image::Luma<f32>>::from_raw(
        picture.width as u32,
        picture.height as u32,
        picture.brightness(),
    );
    let kernel = [1.0_f32, 4.0, 6.0, 4.0, 1.0].map(|w| w / 16.0);
    image
        .map(|image| separable_filter_equal(&image, &kernel).into_raw())
        .unwrap_or_default()
}

/// Levels that 0.5 % and 99 % of the pixels lie below.
fn range(values: &[f32]) -> (f32, f32) {
    let mut some: Vec<f32> = values.iter().step_by(7).copied().collect();
    some.sort_unstable_by(f32::total_cmp);
    let at = |share: f64| some[((some.len() - 1) as f64 * share) as usize];
    (at(0.005), at(0.99))
}

/// Slopes along x and y; zero where weaker than the threshold.
struct Gradient(Vec<[f32; 2]>);

impl Gradient {
    fn of(values: &[f32], width: usize, height: usize, threshold: f32) -> Self {
        let mut slopes = vec![[0.0_f32; 2]; width * height];
        for y in 1..height.saturating_sub(1) {
            for x in 1..width.saturating_sub(1) {
                let i = y * width + x;
                let slope = [
                    values[i + 1] - values[i - 1],
                    values[i + width] - values[i - width],
                ]
                .map(|d| d / 2.0);
                if slope[0] * slope[0] + slope[1] * slope[1] > threshold * threshold {
                    slopes[i] = slope;
                }
            }
        }
        Self(slopes)
    }

    fn strength(&self, i: usize) -> f32 {
        self.0[i][0] * self.0[i][0] + self.0[i][1] * self.0[i][1]
    }

    fn at(&self, i: usize) -> Vector2<f64> {
        vector![f64::from(self.0[i][0]), f64::from(self.0[i][1])]
    }
}

/// Collects the pixels around a seed whose gradients point the same way.
fn grow(
    seed: usize,
    gradient: &Gradient,
    width: usize,
    used: &mut [bool],
    region: &mut Vec<usize>,
) {
    region.clear();
    region.push(seed);
    used[seed] = true;
    let mut sum = gradient.at(seed);
    let mut next = 0;
    while next < region.len() {
        let i = region[next];
        next += 1;
        let direction = sum.normalize();
        // The gradient is zero on the picture's outermost rows and columns, so no neighbour lies outside.
        for j in [
            i - width - 1,
            i - width,
            i - width + 1,
            i - 1,
            i + 1,
            i + width - 1,
            i + width,
            i + width + 1,
        ] {
            if used[j] || gradient.strength(j) == 0.0 {
                continue;
            }
            let slope = gradient.at(j);
            if slope.dot(&direction) > COS_TOLERANCE * slope.norm() {
                used[j] = true;
                region.push(j);
                sum += slope;
            }
        }
    }
}

/// The straight edge through a region, or none if the region is short or bent. Where something else has grown onto a straight
/// edge, such as the edge of a strip of tape that crosses it, the straight part counts if it is most of the region.
fn fit(region: &[usize], gradient: &Gradient, width: usize) -> Option<Segment> {
    if (region.len() as f64) < 1.5 * SHORTEST {
        return None;
    }
    let whole = Axis::of(region, gradient, width);
    if let Some(segment) = whole.segment(region, gradient, width) {
        return Some(segment);
    }
    let (mut axis, mut part) = (whole, region.to_vec());
    for _ in 0..TURNS {
        let mut off: Vec<f32> = part.iter().map(|&i| axis.distance(i, width)).collect();
        let limit = (2.0 * median(&mut off)).max(BLUR);
        part.clear();
        part.extend(region.iter().filter(|&&i| axis.distance(i, width) < limit));
        axis = Axis::of(&part, gradient, width);
    }
    if 2 * part.len() < region.len() {
        return None;
    }
    axis.segment(&part, gradient, width)
}

/// Turns in which the straight part of a bent region is found.
const TURNS: usize = 8;
/// Pixels that an edge reaches to both sides, after the smoothing.
const BLUR: f32 = 3.0;

/// The line of least inertia of a region.
struct Axis {
    centre: Vector2<f64>,
    along: Vector2<f64>,
    /// From dark to bright.
    normal: Vector2<f64>,
    /// Sum of the gradients.
    sum: Vector2<f64>,
    /// Sum of their sizes.
    total: f64,
}

fn place(i: usize, width: usize) -> Vector2<f64> {
    vector![(i % width) as f64 + 0.5, (i / width) as f64 + 0.5]
}

impl Axis {
    fn of(region: &[usize], gradient: &Gradient, width: usize) -> Self {
        let weight = |i: usize| libm::sqrt(f64::from(gradient.strength(i)));
        let total: f64 = region.iter().map(|&i| weight(i)).sum();
        let centre = region
            .iter()
            .map(|&i| place(i, width) * weight(i))
            .sum::<Vector2<f64>>()
            / total;
        let (mut xx, mut xy, mut yy) = (0.0, 0.0, 0.0);
        let mut sum = Vector2::zeros();
        for &i in region {
            let d = place(i, width) - centre;
            let w = weight(i);
            (xx, xy, yy) = (xx + w * d.x * d.x, xy + w * d.x * d.y, yy + w * d.y * d.y);
            sum += gradient.at(i);
        }
        // The direction of least inertia is the edge's own.
        let angle = 0.5 * libm::atan2(2.0 * xy, xx - yy);
        let along = vector![libm::cos(angle), libm::sin(angle)];
        let normal = vector![along.y, -along.x];
        let normal = if normal.dot(&sum) < 0.0 {
            -normal
        } else {
            normal
        };
        Self {
            centre,
            along,
            normal,
            sum,
            total,
        }
    }

    fn distance(&self, i: usize, width: usize) -> f32 {
        (place(i, width) - self.centre).dot(&self.normal).abs() as f32
    }

    /// The region as a segment, if it is straight and long enough.
    fn segment(&self, region: &[usize], gradient: &Gradient, width: usize) -> Option<Segment> {
        let weight = |i: usize| libm::sqrt(f64::from(gradient.strength(i)));
        let mut ends = (f64::MAX, f64::MIN);
        let mut spread = 0.0;
        for &i in region {
            let d = place(i, width) - self.centre;
            let t = d.dot(&self.along);
            ends = (ends.0.min(t), ends.1.max(t));
            spread += weight(i) * d.dot(&self.normal) * d.dot(&self.normal);
        }
        let half = (ends.1 - ends.0) / 2.0;
        let thickness = libm::sqrt(spread / self.total);
        let straight = thickness < 2.0 && self.normal.dot(&self.sum.normalize()) > 0.97;
        let middle = self.centre + self.along * ((ends.0 + ends.1) / 2.0);
        (2.0 * half >= SHORTEST && straight).then_some(Segment {
            centre: middle,
            normal: self.normal,
            half,
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::find::scene::scan;

    #[test]
    fn a_dark_square_has_four_edges_pointing_outwards() {
        let dark = |i: usize| (20..60).contains(&(i % 80)) && (30..50).contains(&(i / 80));
        let pixels = (0..80 * 80)
            .flat_map(|i| [if dark(i) { 12_000 } else { 60_000 }; 3])
            .collect();
        let found = segments(&Picture::reduced(&scan([80, 80], pixels, None)));
        assert_eq!(found.len(), 4);
        for segment in &found {
            let out = segment.centre - vector![40.0, 40.0];
            let distance = out.dot(&segment.normal);
            let sideways = segment.normal.x.abs() > 0.5;
            assert!((distance - if sideways { 20.0 } else { 10.0 }).abs() < 0.1);
            let half = if sideways { 10.0 } else { 20.0 };
            assert!(
                (segment.half - half).abs() < 3.0
                    && segment.normal.x.abs().max(segment.normal.y.abs()) > 0.999
            );
        }
    }
}
