//! A picture in three linear channels, and what optics and electronics do to it.

use super::{marks::Stroke, random::Random};

/// Three channels a pixel, rows from the top; 1 is a perfect diffuser under the lamp.
#[derive(Debug, Clone)]
pub struct Picture {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// The channels, interleaved.
    pub values: Vec<f32>,
}

impl Picture {
    /// A picture of what `at(x, y)` sees: the mean of the four corners of every pixel where they agree, of `fine` by
    /// `fine` points inside it where they do not.
    pub fn of(width: usize, height: usize, fine: usize, at: impl Fn(f64, f64) -> [f64; 3]) -> Self {
        let row = |y: usize| {
            (0..=width)
                .map(|x| at(x as f64, y as f64))
                .collect::<Vec<_>>()
        };
        let mut values = Vec::with_capacity(3 * width * height);
        let mut above = row(0);
        for y in 0..height {
            let below = row(y + 1);
            for x in 0..width {
                let corners = [above[x], above[x + 1], below[x], below[x + 1]];
                let mean = if agree(&corners) {
                    mean(corners.into_iter())
                } else {
                    let inside = |n: usize| (n as f64 + 0.5) / fine as f64;
                    mean(
                        (0..fine * fine)
                            .map(|i| at(x as f64 + inside(i % fine), y as f64 + inside(i / fine))),
                    )
                };
                values.extend(mean.map(|v| v as f32));
            }
            above = below;
        }
        Self {
            width,
            height,
            values,
        }
    }

    /// Draws the strokes of one mark, whose points and radii are in pixels, as one shape.
    pub fn draw(&mut self, strokes: &[Stroke]) {
        let Some(first) = strokes.first() else { return };
        let (mut low, mut high) = ([f64::MAX; 2], [f64::MIN; 2]);
        for stroke in strokes {
            for point in [stroke.from, stroke.to] {
                for axis in 0..2 {
                    low[axis] = low[axis].min(point[axis] - stroke.radius - 1.0);
                    high[axis] = high[axis].max(point[axis] + stroke.radius + 1.0);
                }
            }
        }
        let clip = |v: f64, n: usize| v.clamp(0.0, n as f64) as usize;
        let (x0, x1) = (clip(low[0], self.width), clip(high[0].ceil(), self.width));
        let (y0, y1) = (clip(low[1], self.height), clip(high[1].ceil(), self.height));
        if x0 >= x1 || y0 >= y1 {
            return;
        }
        let across = x1 - x0;
        let mut mask = vec![0.0_f32; across * (y1 - y0)];
        for stroke in strokes {
            let reach = |a: f64, b: f64, lowest: usize, highest: usize| {
                let low =
                    (a.min(b) - stroke.radius - 1.0).clamp(lowest as f64, highest as f64) as usize;
                let high = (a.max(b) + stroke.radius + 1.0)
                    .ceil()
                    .clamp(lowest as f64, highest as f64) as usize;
                low..high
            };
            for y in reach(stroke.from[1], stroke.to[1], y0, y1) {
                for x in reach(stroke.from[0], stroke.to[0], x0, x1) {
                    let cover = stroke.cover * coverage(stroke, [x as f64 + 0.5, y as f64 + 0.5]);
                    let spot = &mut mask[(y - y0) * across + x - x0];
                    *spot = spot.max(cover as f32);
                }
            }
        }
        for y in y0..y1 {
            for x in x0..x1 {
                let cover = mask[(y - y0) * across + x - x0];
                let pixel = 3 * (y * self.width + x);
                for value in &mut self.values[pixel..pixel + 3] {
                    *value += cover * (first.ink as f32 - *value);
                }
            }
        }
    }

    /// Multiplies every pixel by a gain of its position, 0 to 1 across and down.
    pub fn shade(&mut self, gain: impl Fn(f64, f64) -> f64) {
        let (width, height) = (self.width, self.height);
        for (i, pixel) in self.values.chunks_exact_mut(3).enumerate() {
            let at = |n: usize, of: usize| (n as f64 + 0.5) / of as f64;
            let gain = gain(at(i % width, width), at(i / width, height)) as f32;
            pixel.iter_mut().for_each(|v| *v *= gain);
        }
    }

    /// Gaussian blur of a standard deviation in pixels; beyond its edges the picture goes on as it ends.
    pub fn blur(&mut self, sd: f64) {
        if sd <= 0.0 {
            return;
        }
        let reach = (3.0 * sd).ceil() as isize;
        let mut kernel: Vec<f32> = (-reach..=reach)
            .map(|i| libm::exp(-0.5 * (i as f64 / sd) * (i as f64 / sd)) as f32)
            .collect();
        let sum: f32 = kernel.iter().sum();
        kernel.iter_mut().for_each(|k| *k /= sum);
        let (width, height) = (self.width as isize, self.height as isize);
        let mut across = vec![0.0; self.values.len()];
        for y in 0..height {
            for x in 0..width {
                for (k, weight) in kernel.iter().enumerate() {
                    let from = (x + k as isize - reach).clamp(0, width - 1);
                    for c in 0..3 {
                        across[(3 * (y * width + x) + c) as usize] +=
                            weight * self.values[(3 * (y * width + from) + c) as usize];
                    }
                }
            }
        }
        self.values.iter_mut().for_each(|v| *v = 0.0);
        let row = 3 * width as usize;
        for y in 0..height {
            for (k, weight) in kernel.iter().enumerate() {
                let from = (y + k as isize - reach).clamp(0, height - 1) as usize * row;
                let to = y as usize * row;
                for i in 0..row {
                    self.values[to + i] += weight * across[from + i];
                }
            }
        }
    }

    /// Light that comes back from the surroundings: v (1 + gain m), m the mean around a pixel, weighted by a Gaussian
    /// whose second standard deviation lies `reach` pixels away. `lid` surrounds the picture.
    pub fn glare(&mut self, gain: f64, reach: f64, lid: [f64; 3]) {
        if gain == 0.0 {
            return;
        }
        // The mean changes slowly: twelve cells a reach are plenty.
        let cell = (reach / 12.0).max(1.0);
        let pad = 24;
        let cells = |n: usize| (n as f64 / cell).ceil() as usize;
        let (inner_w, inner_h) = (cells(self.width), cells(self.height));
        let mut coarse = Self {
            width: inner_w + 2 * pad,
            height: inner_h + 2 * pad,
            values: lid
                .map(|v| v as f32)
                .repeat((inner_w + 2 * pad) * (inner_h + 2 * pad)),
        };
        for j in 0..inner_h {
            for i in 0..inner_w {
                let span = |n: usize, of: usize| {
                    (n as f64 * cell) as usize..(((n + 1) as f64 * cell) as usize).min(of)
                };
                let (xs, ys) = (span(i, self.width), span(j, self.height));
                let count = (xs.len() * ys.len()).max(1) as f64;
                let mut sum = [0.0_f64; 3];
                for y in ys {
                    for x in xs.clone() {
                        (0..3).for_each(|c| {
                            sum[c] += f64::from(self.values[3 * (y * self.width + x) + c])
                        });
                    }
                }
                let at = 3 * ((j + pad) * coarse.width + i + pad);
                (0..3).for_each(|c| coarse.values[at + c] = (sum[c] / count) as f32);
            }
        }
        coarse.blur(0.5 * reach / cell);
        for y in 0..self.height {
            for x in 0..self.width {
                let at = |n: usize| (n as f64 + 0.5) / cell - 0.5 + pad as f64;
                let mean = coarse.between(at(x), at(y));
                let pixel = 3 * (y * self.width + x);
                (0..3).for_each(|c| self.values[pixel + c] *= (1.0 + gain * mean[c]) as f32);
            }
        }
    }

    /// Bilinear interpolation at a position in pixels, centres at whole numbers.
    fn between(&self, x: f64, y: f64) -> [f64; 3] {
        let (i, j) = (
            (x.max(0.0) as usize).min(self.width - 2),
            (y.max(0.0) as usize).min(self.height - 2),
        );
        let (fx, fy) = (
            (x - i as f64).clamp(0.0, 1.0),
            (y - j as f64).clamp(0.0, 1.0),
        );
        std::array::from_fn(|c| {
            let v = |i: usize, j: usize| f64::from(self.values[3 * (j * self.width + i) + c]);
            let (top, bottom) = (
                v(i, j) + fx * (v(i + 1, j) - v(i, j)),
                v(i, j + 1) + fx * (v(i + 1, j + 1) - v(i, j + 1)),
            );
            top + fy * (bottom - top)
        })
    }

    /// Noise of a standard deviation `dark` without light and `light` more (in squares) on white.
    pub fn noise(&mut self, dark: f64, light: f64, random: &mut Random) {
        if dark == 0.0 && light == 0.0 {
            return;
        }
        for value in &mut self.values {
            let sd = libm::sqrt(dark * dark + light * light * f64::from(value.max(0.0)));
            *value += (sd * random.normal()) as f32;
        }
    }

    /// Unsharp masking over a Gaussian of `sd` pixels.
    pub fn sharpen(&mut self, amount: f64, sd: f64) {
        if amount == 0.0 {
            return;
        }
        let mut soft = self.clone();
        soft.blur(sd);
        for (value, soft) in self.values.iter_mut().zip(&soft.values) {
            *value += amount as f32 * (*value - soft);
        }
    }

    /// Pulls the darkest and the lightest half percent of the encoded values towards 0 and 1, by `share` of the way.
    pub fn stretch(&mut self, share: f64) {
        if share == 0.0 {
            return;
        }
        let mut some: Vec<f32> = self.values.iter().step_by(7).copied().collect();
        some.sort_by(f32::total_cmp);
        let at = |part: f64| f64::from(some[(part * (some.len() - 1) as f64) as usize]);
        let (low, high) = (share * at(0.005), 1.0 - share * (1.0 - at(0.995)));
        for value in &mut self.values {
            *value = ((f64::from(*value) - low) / (high - low)) as f32;
        }
    }

    /// Raises encoded values to a power that follows the brightness around them: below 1 where it is dark, above where light.
    pub fn map_tones(&mut self, strength: f64) {
        if strength == 0.0 {
            return;
        }
        // The mean over a sixteenth of the picture, as phones divide it.
        let cell = (self.width.max(self.height) as f64 / 64.0).max(1.0);
        let cells = |n: usize| (n as f64 / cell).ceil() as usize + 1;
        let mut around = Self::of(cells(self.width), cells(self.height), 1, |_, _| [0.0; 3]);
        for j in 0..around.height {
            for i in 0..around.width {
                let pixel = |k: usize, n: usize| ((k as f64 * cell) as usize).min(n - 1);
                let at = 3 * (pixel(j, self.height) * self.width + pixel(i, self.width));
                let mean = self.values[at..at + 3].iter().sum::<f32>() / 3.0;
                let to = 3 * (j * around.width + i);
                around.values[to..to + 3].fill(mean.clamp(0.0, 1.0));
            }
        }
        around.blur(4.0);
        for y in 0..self.height {
            for x in 0..self.width {
                let mean = around.between(x as f64 / cell, y as f64 / cell)[0];
                let power = libm::pow(2.0, strength * (2.0 * mean - 1.0));
                let pixel = 3 * (y * self.width + x);
                for value in &mut self.values[pixel..pixel + 3] {
                    *value = libm::pow(f64::from(value.max(0.0)), power) as f32;
                }
            }
        }
    }
}

/// Whether colours differ by less than an edge of stripes or films makes.
fn agree(colours: &[[f64; 3]]) -> bool {
    const EVEN: f64 = 0.004;
    (0..3).all(|c| {
        let channel = || colours.iter().map(|colour| colour[c]);
        channel().fold(f64::MIN, f64::max) - channel().fold(f64::MAX, f64::min) < EVEN
    })
}

fn mean(colours: impl ExactSizeIterator<Item = [f64; 3]>) -> [f64; 3] {
    let share = 1.0 / colours.len() as f64;
    colours.fold([0.0; 3], |sum, colour| {
        std::array::from_fn(|c| sum[c] + share * colour[c])
    })
}

/// Share of the pixel centred at `point` that a stroke covers.
fn coverage(stroke: &Stroke, point: [f64; 2]) -> f64 {
    let (dx, dy) = (stroke.to[0] - stroke.from[0], stroke.to[1] - stroke.from[1]);
    let (px, py) = (point[0] - stroke.from[0], point[1] - stroke.from[1]);
    let length = dx * dx + dy * dy;
    let along = if length > 0.0 {
        ((px * dx + py * dy) / length).clamp(0.0, 1.0)
    } else {
        0.0
    };
    let distance = libm::hypot(px - along * dx, py - along * dy);
    // Thinner than a pixel: the share of its width.
    (stroke.radius + 0.5 - distance).clamp(0.0, (2.0 * stroke.radius).min(1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn step(width: usize) -> Picture {
        Picture::of(width, 40, 1, |x, _| {
            if x < 0.5 * width as f64 {
                [0.1; 3]
            } else {
                [0.8; 3]
            }
        })
    }

    #[test]
    fn pixels_are_means_of_what_lies_in_them() {
        let picture = Picture::of(4, 4, 4, |x, _| if x < 1.25 { [1.0; 3] } else { [0.0; 3] });
        assert_eq!(picture.values[0], 1.0);
        assert_eq!(picture.values[3], 0.25);
        assert_eq!(picture.values[6], 0.0);
    }

    #[test]
    fn blur_keeps_flat_areas_and_light() {
        let mut picture = step(60);
        let before: f64 = picture.values.iter().map(|v| f64::from(*v)).sum();
        picture.blur(1.5);
        let after: f64 = picture.values.iter().map(|v| f64::from(*v)).sum();
        assert!((before - after).abs() < 1e-3 * before);
        assert!((picture.values[0] - 0.1).abs() < 1e-6);
        assert!((picture.values[3 * 30] - 0.45).abs() < 0.15);
    }

    /// The form of method: white in a white field reads (1 + g) times, the same white in a black field reads once.
    #[test]
    fn glare_brightens_by_what_lies_around() {
        let mut white = Picture::of(90, 90, 1, |_, _| [0.8; 3]);
        white.glare(0.2, 30.0, [0.8; 3]);
        let middle = 3 * (45 * 90 + 45);
        assert!((white.values[middle] - 0.8 * (1.0 + 0.2 * 0.8)).abs() < 1e-4);
        let mut black = Picture::of(90, 90, 1, |_, _| [0.0; 3]);
        black.values[middle] = 0.8;
        black.glare(0.2, 30.0, [0.0; 3]);
        assert!((black.values[middle] - 0.8).abs() < 2e-3);
    }

    #[test]
    fn sharpening_overshoots_at_edges_only() {
        let mut picture = step(60);
        picture.blur(0.7);
        picture.sharpen(0.8, 1.0);
        let row = &picture.values[..180];
        assert!(row.iter().any(|v| *v > 0.82) && row.iter().any(|v| *v < 0.08));
        assert!((row[0] - 0.1).abs() < 1e-5 && (row[177] - 0.8).abs() < 1e-5);
    }

    #[test]
    fn noise_has_the_spread_it_says() {
        let mut picture = Picture::of(200, 200, 1, |_, _| [0.25; 3]);
        picture.noise(0.003, 0.008, &mut Random::new(2));
        let n = picture.values.len() as f64;
        let mean = picture.values.iter().map(|v| f64::from(*v)).sum::<f64>() / n;
        let sd = libm::sqrt(
            picture
                .values
                .iter()
                .map(|v| (f64::from(*v) - mean) * (f64::from(*v) - mean))
                .sum::<f64>()
                / n,
        );
        // sqrt(0.003^2 + 0.008^2 / 4) = 0.005.
        assert!(
            (mean - 0.25).abs() < 1e-4 && (sd - 0.005).abs() < 1e-4,
            "{mean} {sd}"
        );
    }

    #[test]
    fn a_stroke_covers_its_width_once() {
        let mut picture = Picture::of(40, 20, 1, |_, _| [1.0; 3]);
        let piece = |x0: f64, x1: f64| Stroke {
            from: [x0, 10.0],
            to: [x1, 10.0],
            radius: 2.0,
            ink: 0.0,
            cover: 0.5,
        };
        picture.draw(&[piece(5.0, 20.0), piece(20.0, 35.0)]);
        assert!((picture.values[3 * (10 * 40 + 20)] - 0.5).abs() < 1e-6);
        assert!((picture.values[3 * (10 * 40 + 12)] - 0.5).abs() < 1e-6);
        assert_eq!(picture.values[3 * (5 * 40 + 20)], 1.0);
        picture.draw(&[Stroke {
            from: [-50.0, -50.0],
            to: [-40.0, -40.0],
            radius: 1.0,
            ink: 0.0,
            cover: 1.0,
        }]);
    }
}
