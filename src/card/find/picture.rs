//! A reduced copy of a scan in floating point: what the finder looks at.

use crate::scan::{Pixels, Scan};

/// Longest side of the reduced picture, in pixels. An A4 page then has about 5 pixels a millimetre, so that the
/// narrowest stripe (5 mm) is 25 pixels wide.
const LONGEST: usize = 1500;
/// Pictures up to this much longer than [`LONGEST`] are taken as they are.
const SLACK: f64 = 1.25;

/// Encoded R, G, B from 0 to 1. Positions are in its own pixels, pixel centres at half numbers.
pub(super) struct Picture {
    pub(super) width: usize,
    pub(super) height: usize,
    /// Scan pixels per pixel of this picture, at least 1.
    pub(super) scale: f64,
    /// R, G, B and one number more, so that all of a pixel is reckoned with at once.
    rgb: Vec<[f32; 4]>,
}

impl Picture {
    /// Averages the scan's pixels over areas.
    pub(super) fn reduced(scan: &Scan) -> Self {
        let longest = scan.width.max(scan.height);
        let scale = (longest as f64 / LONGEST as f64).max(1.0);
        let scale = if scale < SLACK { 1.0 } else { scale };
        let size = |n: usize| ((n as f64 / scale) as usize).max(1);
        let (width, height) = (size(scan.width), size(scan.height));
        let rgb = match &scan.pixels {
            Pixels::Eight(p) => average(p, scan.width, [width, height], scale, 1.0 / 255.0),
            Pixels::Sixteen(p) => average(p, scan.width, [width, height], scale, 1.0 / 65535.0),
        };
        Self {
            width,
            height,
            scale,
            rgb,
        }
    }

    /// The brightest channel of every pixel. Coloured paint stays bright in it, black stripes stay dark.
    pub(super) fn brightness(&self) -> Vec<f32> {
        self.rgb
            .iter()
            .map(|&[r, g, b, _]| brightest(&[r, g, b]))
            .collect()
    }

    /// Whether a position lies in the picture.
    pub(super) fn holds(&self, x: f64, y: f64) -> bool {
        x >= 0.0 && y >= 0.0 && x <= self.width as f64 && y <= self.height as f64
    }

    /// Colour at a position, interpolated between pixel centres; beyond the border the border's colour.
    pub(super) fn sample(&self, x: f64, y: f64) -> [f32; 3] {
        let (x0, x1, fx) = neighbours(x, self.width);
        let (y0, y1, fy) = neighbours(y, self.height);
        let (top, bottom) = (y0 * self.width, y1 * self.width);
        let between = |a: [f32; 4], b: [f32; 4], share: f32| -> [f32; 4] {
            std::array::from_fn(|c| a[c] + (b[c] - a[c]) * share)
        };
        let upper = between(self.rgb[top + x0], self.rgb[top + x1], fx);
        let lower = between(self.rgb[bottom + x0], self.rgb[bottom + x1], fx);
        let [r, g, b, _] = between(upper, lower, fy);
        [r, g, b]
    }

    /// [`Self::sample`], brightest channel only.
    pub(super) fn brightness_at(&self, x: f64, y: f64) -> f32 {
        brightest(&self.sample(x, y))
    }
}

/// The largest of three channels.
pub(super) fn brightest(rgb: &[f32; 3]) -> f32 {
    rgb[0].max(rgb[1]).max(rgb[2])
}

fn neighbours(x: f64, size: usize) -> (usize, usize, f32) {
    let last = size - 1;
    let x = (x - 0.5).clamp(0.0, last as f64);
    let low = x as usize;
    (low, (low + 1).min(last), (x - low as f64) as f32)
}

/// Where a source pixel goes: the target it starts in, the weight it leaves there, and the rest for the next one.
fn shares(count: usize, targets: usize, scale: f64) -> Vec<(usize, f32, f32)> {
    (0..count)
        .map(|i| {
            let first = ((i as f64 / scale) as usize).min(targets);
            let border = (first + 1) as f64 * scale;
            let inside = (border - i as f64).clamp(0.0, 1.0);
            (first, inside as f32, (1.0 - inside) as f32)
        })
        .collect()
}

/// Mean over areas of `scale` by `scale` source pixels. The last row and column, when cut, are left out.
fn average<T: Copy + Into<f32>>(
    source: &[T],
    source_width: usize,
    [width, height]: [usize; 2],
    scale: f64,
    unit: f32,
) -> Vec<[f32; 4]> {
    if scale == 1.0 {
        let pixel = |p: &[T]| {
            [
                p[0].into() * unit,
                p[1].into() * unit,
                p[2].into() * unit,
                0.0,
            ]
        };
        return source.chunks_exact(3).map(pixel).collect();
    }
    let columns = shares(source_width, width, scale);
    let rows = shares(source.len() / 3 / source_width, height, scale);
    let unit = unit / (scale * scale) as f32;
    let mut means = Vec::with_capacity(width * height);
    // Rows are added up first, as they lie: many numbers at once. Only their sums are added across.
    let mut sums = vec![0.0_f32; 3 * source_width];
    let mut below = sums.clone();
    // What lies beyond the last whole pixel goes into spare ones.
    let mut line = vec![[0.0_f32; 4]; width + 2];
    let mut across = |sums: &[f32]| {
        line.fill([0.0; 4]);
        for (p, &(column, left, right)) in sums.chunks_exact(3).zip(&columns) {
            let p = [p[0], p[1], p[2], 0.0];
            for c in 0..4 {
                line[column][c] += p[c] * left;
                line[column + 1][c] += p[c] * right;
            }
        }
        means.extend(line[..width].iter().map(|sum| sum.map(|v| v * unit)));
    };
    let add = |to: &mut [f32], pixels: &[T], weight: f32| {
        for (sum, &value) in to.iter_mut().zip(pixels) {
            *sum += value.into() * weight;
        }
    };
    let mut target = 0;
    for (pixels, &(row, here, rest)) in source.chunks_exact(3 * source_width).zip(&rows) {
        if row > target {
            across(&sums);
            std::mem::swap(&mut sums, &mut below);
            below.fill(0.0);
            target = row;
        }
        if target == height {
            break;
        }
        add(&mut sums, pixels, here);
        if rest > 0.0 {
            add(&mut below, pixels, rest);
        }
    }
    if target < height {
        across(&sums);
    }
    means
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::card::find::scene::scan;

    #[test]
    fn averages_keep_the_mean() {
        // A ramp along x: the mean over an area is the ramp at its middle.
        let (width, height) = (3700, 8);
        let pixels = (0..width * height)
            .flat_map(|i| [(i % width * 10) as u16; 3])
            .collect();
        let picture = Picture::reduced(&scan([width, height], pixels, None));
        assert_eq!((picture.width, picture.height), (1500, 3));
        for x in [0, 1, 700, 1499] {
            let middle = (x as f64 + 0.5) * picture.scale - 0.5;
            let expected = middle * 10.0 / 65535.0;
            assert!((f64::from(picture.sample(x as f64 + 0.5, 1.5)[1]) - expected).abs() < 1e-4);
        }
    }

    #[test]
    fn small_pictures_are_taken_as_they_are() {
        let pixels = vec![0, 100, 65535, 500, 600, 700];
        let picture = Picture::reduced(&scan([2, 1], pixels, None));
        assert_eq!(picture.scale, 1.0);
        assert_eq!(picture.sample(0.5, 0.5), [0.0, 100.0 / 65535.0, 1.0]);
        assert_eq!(picture.sample(-3.0, 9.0), picture.sample(0.5, 0.5));
        assert!((picture.sample(1.0, 0.5)[0] - 250.0 / 65535.0).abs() < 1e-7);
    }
}
