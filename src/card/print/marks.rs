//! Codes in a scan, and where the card lies that bears them.

use nalgebra::{Matrix3, SMatrix, SVector, Vector3};

use super::{
    CODE, CODES, FINDERS, MODULE, Mark, SIZE,
    patterns::{self, Picture},
};
use crate::scan::{Pixels, Scan};

/// Grey of a whole scan, 0 to 255.
struct Grey {
    width: usize,
    height: usize,
    /// Scan pixels in one of these.
    scale: f64,
    values: Vec<u8>,
}

impl Grey {
    fn of(scan: &Scan) -> Self {
        let values = match &scan.pixels {
            Pixels::Eight(codes) => codes
                .chunks_exact(3)
                .map(|p| (p.iter().map(|&v| u16::from(v)).sum::<u16>() / 3) as u8)
                .collect(),
            Pixels::Sixteen(codes) => codes
                .chunks_exact(3)
                .map(|p| (p.iter().map(|&v| u32::from(v)).sum::<u32>() / 771) as u8)
                .collect(),
        };
        Self {
            width: scan.width,
            height: scan.height,
            scale: 1.0,
            values,
        }
    }

    /// A copy of so many pixels along the longer side, each the mean over its area; enlarged between pixels at most twice.
    fn resized(&self, longest: f64) -> Self {
        let scale = (self.width.max(self.height) as f64 / longest).max(0.5);
        let size = |n: usize| ((n as f64 / scale) as usize).max(1);
        let (width, height) = (size(self.width), size(self.height));
        let values = if scale > 1.0 {
            self.averaged(scale, [width, height])
        } else {
            let place = |i: usize, most: usize| {
                let at = ((i as f64 + 0.5) * scale - 0.5).clamp(0.0, (most - 1) as f64);
                (at as usize, (at as usize + 1).min(most - 1), at.fract())
            };
            let value = |x: usize, y: usize| f64::from(self.values[y * self.width + x]);
            let mut values = Vec::with_capacity(width * height);
            for y in 0..height {
                let (y0, y1, fy) = place(y, self.height);
                for x in 0..width {
                    let (x0, x1, fx) = place(x, self.width);
                    let upper = value(x0, y0) * (1.0 - fx) + value(x1, y0) * fx;
                    let lower = value(x0, y1) * (1.0 - fx) + value(x1, y1) * fx;
                    values.push((upper * (1.0 - fy) + lower * fy) as u8);
                }
            }
            values
        };
        Self {
            width,
            height,
            scale,
            values,
        }
    }

    fn averaged(&self, scale: f64, [width, height]: [usize; 2]) -> Vec<u8> {
        let targets = |count: usize, most: usize| -> Vec<usize> {
            (0..count)
                .map(|i| ((i as f64 / scale) as usize).min(most - 1))
                .collect()
        };
        let counts = |targets: &[usize], most: usize| {
            let mut counts = vec![0_u32; most];
            targets.iter().for_each(|&target| counts[target] += 1);
            counts
        };
        let (columns, rows) = (targets(self.width, width), targets(self.height, height));
        let (wide, high) = (counts(&columns, width), counts(&rows, height));
        let mut values = Vec::with_capacity(width * height);
        // Rows are added up first, as they lie: many numbers at once. Only their sums are added across.
        let mut sums = vec![0_u32; self.width];
        let mut across = vec![0_u32; width];
        let mut left = high[0];
        for (row, &target) in self.values.chunks_exact(self.width).zip(&rows) {
            for (sum, &value) in sums.iter_mut().zip(row) {
                *sum += u32::from(value);
            }
            left -= 1;
            if left > 0 {
                continue;
            }
            for (&sum, &column) in sums.iter().zip(&columns) {
                across[column] += sum;
            }
            values.extend(
                across
                    .iter()
                    .zip(&wide)
                    .map(|(&sum, &wide)| (sum / (wide * high[target])) as u8),
            );
            sums.fill(0);
            across.fill(0);
            left = high.get(target + 1).copied().unwrap_or(0);
        }
        values
    }
}

/// Mean of the channels between pixels; beyond the border the border's.
fn brightness(scan: &Scan, [x, y]: [f64; 2]) -> f64 {
    let place = |v: f64, size: usize| {
        let v = (v - 0.5).clamp(0.0, (size - 1) as f64);
        let low = v as usize;
        (low, (low + 1).min(size - 1), v - low as f64)
    };
    let (x0, x1, fx) = place(x, scan.width);
    let (y0, y1, fy) = place(y, scan.height);
    let at = |x: usize, y: usize| {
        let [r, g, b] = scan.code(x, y).map(|v| f32::from(v) / 65535.0);
        f64::from(r + g + b) / 3.0
    };
    let upper = at(x0, y0) * (1.0 - fx) + at(x1, y0) * fx;
    let lower = at(x0, y1) * (1.0 - fx) + at(x1, y1) * fx;
    upper * (1.0 - fy) + lower * fy
}

/// A code that was read, with its corners in pixels of the scan, clockwise from its own top left.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Seen {
    pub(super) mark: Mark,
    pub(super) corners: [[f64; 2]; 4],
}

impl Seen {
    fn middle(&self) -> [f64; 2] {
        [0, 1].map(|axis| self.corners.iter().map(|c| c[axis]).sum::<f64>() / 4.0)
    }

    /// mm on the card that its corners stand at.
    fn places(&self) -> [[f64; 2]; 4] {
        let [x, y] = CODES[self.mark.corner];
        [[x, y], [x + CODE, y], [x + CODE, y + CODE], [x, y + CODE]]
    }
}

/// Long sides of reduced pictures that are looked at one after the other, as pixels in a mm of an A4 page: one pass alone
/// misses codes now and then. After the first three without any code there is none.
const PASSES: [f64; 5] = [6.0, 4.6, 7.4, 10.0, 13.0];
/// Longest side of a scanner's glass for A4.
const A4_MM: f64 = 297.0;
/// Passes without any code after which no more are made.
const PATIENCE: usize = 3;
/// Pixels of the largest reduced picture.
const MOST_PIXELS: f64 = 4200.0;

/// Codes of cards in one reduced picture, their corners in pixels of the scan.
fn within(grey: &Grey) -> Vec<Seen> {
    let picture = Picture {
        values: &grey.values,
        width: grey.width,
        height: grey.height,
    };
    patterns::codes(picture)
        .into_iter()
        .filter_map(|code| {
            Some(Seen {
                mark: Mark::read(&code.text)?,
                corners: code.corners.map(|p| p.map(|v| v * grey.scale)),
            })
        })
        .collect()
}

/// All codes of cards in a scan.
pub(super) fn codes(scan: &Scan) -> Vec<Seen> {
    let longest = scan.width.max(scan.height) as f64;
    let mm = scan
        .origin
        .dpi
        .map(|dpi| longest / dpi * 25.4)
        .filter(|mm| (60.0..460.0).contains(mm))
        .unwrap_or(A4_MM);
    let whole = Grey::of(scan);
    let mut all: Vec<Seen> = Vec::new();
    for (pass, per_mm) in PASSES.into_iter().enumerate() {
        if pass >= PATIENCE && all.is_empty() {
            break;
        }
        let wanted = (per_mm * mm).min(MOST_PIXELS).min(2.0 * longest);
        let grey = whole.resized(wanted);
        for seen in within(&grey) {
            let size = side(&seen.corners);
            let known = all
                .iter()
                .any(|old| old.mark == seen.mark && far(old.middle(), seen.middle()) < 0.5 * size);
            if !known {
                all.push(seen);
            }
        }
        // All four of every card: enough.
        if !all.is_empty()
            && all.len().is_multiple_of(4)
            && groups(&all).iter().all(|g| g.len() == 4)
        {
            break;
        }
    }
    all
}

fn far(a: [f64; 2], b: [f64; 2]) -> f64 {
    libm::hypot(a[0] - b[0], a[1] - b[1])
}

fn side(corners: &[[f64; 2]; 4]) -> f64 {
    (0..4)
        .map(|i| far(corners[i], corners[(i + 1) % 4]))
        .sum::<f64>()
        / 4.0
}

/// Codes of one card together. Cards may bear the same number: where each code says that the card's middle lies counts too.
pub(super) fn groups(all: &[Seen]) -> Vec<Vec<&Seen>> {
    let mut groups: Vec<(u32, [f64; 2], Vec<&Seen>)> = Vec::new();
    for seen in all {
        let Some(map) = Map::through(
            &seen
                .places()
                .into_iter()
                .zip(seen.corners)
                .collect::<Vec<_>>(),
        ) else {
            continue;
        };
        let middle = map.to_scan([SIZE[0] / 2.0, SIZE[1] / 2.0]);
        // One code's own corners tell the far side of the card to some 20 mm.
        let near = 2.0 * side(&seen.corners);
        let group = groups.iter_mut().find(|(number, place, codes)| {
            *number == seen.mark.number
                && far(*place, middle) < near
                && codes
                    .iter()
                    .all(|code| code.mark.corner != seen.mark.corner)
        });
        match group {
            Some((_, _, codes)) => codes.push(seen),
            None => groups.push((seen.mark.number, middle, vec![seen])),
        }
    }
    groups.into_iter().map(|(_, _, codes)| codes).collect()
}

/// The projective map from mm of a card to pixels of a scan.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Map {
    to_scan: Matrix3<f64>,
    to_card: Matrix3<f64>,
}

impl Map {
    /// The least squares map through pairs of places, card first: the direct linear transformation with normalised
    /// coordinates (Hartley and Zisserman, Multiple View Geometry, 2nd edition, algorithm 4.2).
    fn through(pairs: &[([f64; 2], [f64; 2])]) -> Option<Self> {
        if pairs.len() < 4 {
            return None;
        }
        let normal = |points: Vec<[f64; 2]>| {
            let n = points.len() as f64;
            let mean = [0, 1].map(|i| points.iter().map(|p| p[i]).sum::<f64>() / n);
            let spread = points.iter().map(|p| far(*p, mean)).sum::<f64>() / n;
            let s = std::f64::consts::SQRT_2 / spread.max(1e-9);
            Matrix3::new(s, 0.0, -s * mean[0], 0.0, s, -s * mean[1], 0.0, 0.0, 1.0)
        };
        let from = normal(pairs.iter().map(|p| p.0).collect());
        let to = normal(pairs.iter().map(|p| p.1).collect());
        // With these coordinates the last element is never near 0 and stands as 1: eight unknowns by normal equations.
        let mut square = SMatrix::<f64, 8, 8>::zeros();
        let mut right = SVector::<f64, 8>::zeros();
        for (card, scan) in pairs {
            let p = from * Vector3::new(card[0], card[1], 1.0);
            let q = to * Vector3::new(scan[0], scan[1], 1.0);
            for (axis, value) in [q.x, q.y].into_iter().enumerate() {
                let mut row = SVector::<f64, 8>::zeros();
                for k in 0..3 {
                    row[3 * axis + k] = p[k];
                }
                row[6] = -value * p.x;
                row[7] = -value * p.y;
                square += row * row.transpose();
                right += row * value;
            }
        }
        let h = square.lu().solve(&right)?;
        let h = Matrix3::new(h[0], h[1], h[2], h[3], h[4], h[5], h[6], h[7], 1.0);
        let to_scan = to.try_inverse()? * h * from;
        let to_scan = to_scan / to_scan[(2, 2)];
        Some(Self {
            to_scan,
            to_card: to_scan.try_inverse()?,
        })
    }

    /// Pixel that shows a place of the card.
    pub(super) fn to_scan(&self, at: [f64; 2]) -> [f64; 2] {
        project(&self.to_scan, at)
    }

    /// Place of the card, in mm, that a pixel shows.
    pub(super) fn to_card(&self, at: [f64; 2]) -> [f64; 2] {
        project(&self.to_card, at)
    }

    /// Scan pixels in a mm, at a place of the card.
    pub(super) fn per_mm(&self, [x, y]: [f64; 2]) -> f64 {
        let step = |d: [f64; 2]| {
            far(
                self.to_scan([x - d[0], y - d[1]]),
                self.to_scan([x + d[0], y + d[1]]),
            )
        };
        0.25 * (step([1.0, 0.0]) + step([0.0, 1.0]))
    }
}

fn project(m: &Matrix3<f64>, [x, y]: [f64; 2]) -> [f64; 2] {
    let p = m * Vector3::new(x, y, 1.0);
    [p.x / p.z, p.y / p.z]
}

/// Where a card lies, from its codes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Placed {
    pub(super) map: Map,
    /// Finder patterns that it rests on, of twelve.
    pub(super) patterns: usize,
    /// Root mean square distance of these from where they should be, mm.
    pub(super) off: f64,
}

/// Fewest finder patterns that place a card: those of two codes.
const FEWEST: usize = 6;
/// A pattern further off than this, in mm, is none.
const STRAY: f64 = 1.2;
/// Least likeness (correlation) of a finder pattern.
const LIKE: f64 = 0.6;

/// Places a card: first by the corners of the codes that were read, which are right to a module, then by the middles of
/// all finder patterns that are seen, also of codes that could not be read.
pub(super) fn place(scan: &Scan, codes: &[&Seen]) -> Option<Placed> {
    let pairs: Vec<_> = codes
        .iter()
        .flat_map(|code| code.places().into_iter().zip(code.corners))
        .collect();
    let mut map = Map::through(&pairs)?;
    let mut reach = 2.5;
    if let [code] = codes {
        map = from_one(scan, &map, code)?;
        reach = 6.0;
    }
    let mut patterns: Vec<([f64; 2], [f64; 2])> = Vec::new();
    for _ in 0..3 {
        patterns = CODES
            .iter()
            .flat_map(|code| FINDERS.map(|finder| [0, 1].map(|i| code[i] + MODULE * finder[i])))
            .filter_map(|middle| Some((middle, pattern(scan, &map, middle, reach)?)))
            .collect();
        if patterns.len() < FEWEST {
            return None;
        }
        let mut better = Map::through(&patterns)?;
        // Strays go, the farthest first.
        while patterns.len() > FEWEST {
            let (at, most) = patterns
                .iter()
                .map(|(card, scan)| far(better.to_card(*scan), *card))
                .enumerate()
                .max_by(|a, b| a.1.total_cmp(&b.1))?;
            if most < STRAY.min(3.0 * rms(&better, &patterns)).max(0.15) {
                break;
            }
            patterns.remove(at);
            better = Map::through(&patterns)?;
        }
        map = better;
        reach = 1.5;
    }
    Some(Placed {
        off: rms(&map, &patterns),
        patterns: patterns.len(),
        map,
    })
}

/// From one code alone: its three finder patterns and the fourth corner of their parallelogram reach further than its corners.
fn from_one(scan: &Scan, map: &Map, code: &Seen) -> Option<Map> {
    let corner = CODES[code.mark.corner];
    let places = FINDERS.map(|finder| [0, 1].map(|i| corner[i] + MODULE * finder[i]));
    let mut pairs = Vec::with_capacity(4);
    for place in places {
        pairs.push((place, pattern(scan, map, place, 2.5)?));
    }
    let fourth = |[a, b, c]: [[f64; 2]; 3]| [b[0] + c[0] - a[0], b[1] + c[1] - a[1]];
    let [a, b, c] = [pairs[0], pairs[1], pairs[2]];
    pairs.push((fourth([a.0, b.0, c.0]), fourth([a.1, b.1, c.1])));
    Map::through(&pairs)
}

fn rms(map: &Map, pairs: &[([f64; 2], [f64; 2])]) -> f64 {
    let sum: f64 = pairs
        .iter()
        .map(|(card, scan)| far(map.to_card(*scan), *card).powi(2))
        .sum();
    (sum / pairs.len().max(1) as f64).sqrt()
}

/// Looks in one module, and modules of the pattern with the white around it; both odd, so that a look is its middle.
const FINE: usize = 5;
const SPAN: usize = 9;

/// The pixel in the middle of a finder pattern that is expected at `middle`, within `reach` modules; `None` if there is none.
fn pattern(scan: &Scan, map: &Map, middle: [f64; 2], reach: f64) -> Option<[f64; 2]> {
    let step = MODULE / FINE as f64;
    let steps = (reach * FINE as f64).round() as i32;
    let half = (SPAN * FINE) as i32 / 2;
    let n = (2 * (half + steps) + 1) as usize;
    let origin = -(half + steps);
    let grey: Vec<f64> = (0..n * n)
        .map(|i| {
            let d = [i % n, i / n].map(|k| f64::from(origin + k as i32) * step);
            let at = map.to_scan([middle[0] + d[0], middle[1] + d[1]]);
            let outside = at[0] < 0.0
                || at[1] < 0.0
                || at[0] > scan.width as f64
                || at[1] > scan.height as f64;
            if outside { 1.0 } else { brightness(scan, at) }
        })
        .collect();
    let ideal: Vec<f64> = (0..SPAN * FINE * SPAN * FINE)
        .map(|i| {
            let ring = [i % (SPAN * FINE), i / (SPAN * FINE)]
                .map(|k| (((k as f64 + 0.5) / FINE as f64) - SPAN as f64 / 2.0).abs())
                .into_iter()
                .fold(0.0, f64::max);
            // Dark core of 3 modules, white ring, dark ring to 7, white beyond.
            if ring < 1.5 || (2.5..3.5).contains(&ring) {
                0.0
            } else {
                1.0
            }
        })
        .collect();
    let like = |dx: i32, dy: i32| {
        let side = SPAN * FINE;
        let (mut sums, mut products) = ([0.0; 4], 0.0);
        for j in 0..side {
            for i in 0..side {
                let g = grey[(j + (steps + dy) as usize) * n + i + (steps + dx) as usize];
                let t = ideal[j * side + i];
                sums[0] += g;
                sums[1] += g * g;
                sums[2] += t;
                sums[3] += t * t;
                products += g * t;
            }
        }
        let count = (side * side) as f64;
        let [g, gg, t, tt] = sums.map(|s| s / count);
        let spread = ((gg - g * g) * (tt - t * t)).max(1e-12).sqrt();
        (products / count - g * t) / spread
    };
    // Coarse first, by half modules, then every step around the best.
    let coarse = (FINE / 2).max(1) as i32;
    let mut best = (f64::NEG_INFINITY, 0, 0);
    let mut look = |dx: i32, dy: i32| {
        let found = like(dx, dy);
        if found > best.0 {
            best = (found, dx, dy);
        }
    };
    let mut dy = -steps;
    while dy <= steps {
        let mut dx = -steps;
        while dx <= steps {
            look(dx, dy);
            dx += coarse;
        }
        dy += coarse;
    }
    let (_, x, y) = best;
    for dy in y - coarse..=y + coarse {
        for dx in x - coarse..=x + coarse {
            if dx.abs() < steps && dy.abs() < steps {
                let found = like(dx, dy);
                if found > best.0 {
                    best = (found, dx, dy);
                }
            }
        }
    }
    let (most, dx, dy) = best;
    if most < LIKE || dx.abs() >= steps || dy.abs() >= steps {
        return None;
    }
    // Between the steps, by the parabola through three.
    let between = |before: f64, after: f64| {
        let bend = before - 2.0 * most + after;
        if bend < -1e-9 {
            (0.5 * (before - after) / bend).clamp(-0.5, 0.5)
        } else {
            0.0
        }
    };
    let fx = f64::from(dx) + between(like(dx - 1, dy), like(dx + 1, dy));
    let fy = f64::from(dy) + between(like(dx, dy - 1), like(dx, dy + 1));
    Some(map.to_scan([middle[0] + fx * step, middle[1] + fy * step]))
}
