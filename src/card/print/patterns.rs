//! Where codes lie in a grey picture: three finder patterns in a square corner (ISO/IEC 18004, 6.3.3 and 13).
//!
//! A library's own search was used before. It stops the whole program on some groups of patterns that belong to different codes,
//! and it knows neither how many modules these codes have nor how they are corrected; both leave little to guess.

use super::{FINDERS, MODULES, words};

/// Values of a picture, 0 to 255, rows from the top.
#[derive(Debug, Clone, Copy)]
pub(super) struct Picture<'a> {
    pub(super) values: &'a [u8],
    pub(super) width: usize,
    pub(super) height: usize,
}

/// A code's text and its corners, clockwise from its own top left, in pixels; centres of pixels at half numbers.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Code {
    pub(super) text: String,
    pub(super) corners: [[f64; 2]; 4],
}

/// Side of the blocks whose darkest and lightest pixels set what counts as dark: about four modules of a code.
const BLOCK: usize = 16;
/// Least difference between them that is ink and no noise.
const CONTRAST: u8 = 40;
/// How far a run of a finder pattern may be off, in modules: blur and few pixels.
const RUN_OFF: f64 = 0.6;
/// The same for its middle, which is three modules wide.
const MIDDLE_OFF: f64 = 1.2;
/// Rows that have to agree on a finder pattern.
const ROWS: usize = 2;
/// Modules between the middles of two patterns of a code.
const LEG: f64 = MODULES as f64 - 7.0;
/// How far legs may differ from that and from each other, as a share.
const LEGS_DIFFER: f64 = 0.25;
/// Largest cosine of the angle between them.
const SQUARE: f64 = 0.2;
/// Patterns looked at; more are a texture.
const MOST: usize = 400;

/// All codes of the kind that [`words`] reads.
pub(super) fn codes(picture: Picture) -> Vec<Code> {
    let seen = Thresholds::of(picture);
    let patterns = patterns(&seen);
    let mut codes: Vec<Code> = Vec::new();
    for corner in 0..patterns.len() {
        for [right, below] in pairs(&patterns, corner) {
            let middles = [corner, right, below].map(|i| patterns[i].middle);
            let known = codes.iter().any(|code| inside(middles[0], &code.corners));
            if let Some(code) = (!known).then(|| read(&seen, middles)).flatten() {
                codes.push(code);
            }
        }
    }
    codes
}

/// A picture and from where on it is light, block by block.
struct Thresholds<'a> {
    picture: Picture<'a>,
    across: usize,
    blocks: Vec<Option<f64>>,
}

impl<'a> Thresholds<'a> {
    fn of(picture: Picture<'a>) -> Self {
        let across = picture.width.div_ceil(BLOCK);
        let down = picture.height.div_ceil(BLOCK);
        let mut ends = vec![(u8::MAX, 0_u8); across * down];
        for (y, row) in picture.values.chunks_exact(picture.width).enumerate() {
            let line = &mut ends[y / BLOCK * across..][..across];
            for (block, values) in line.iter_mut().zip(row.chunks(BLOCK)) {
                for &value in values {
                    block.0 = block.0.min(value);
                    block.1 = block.1.max(value);
                }
            }
        }
        let blocks = (0..across * down)
            .map(|i| {
                let (x, y) = (i % across, i / across);
                let near = (y.saturating_sub(1)..(y + 2).min(down)).flat_map(|y| {
                    let columns = x.saturating_sub(1)..(x + 2).min(across);
                    columns.map(move |x| y * across + x)
                });
                let (dark, light) = near.fold((u8::MAX, 0), |(dark, light), i| {
                    (dark.min(ends[i].0), light.max(ends[i].1))
                });
                (light > dark && light - dark >= CONTRAST)
                    .then(|| 0.5 * (f64::from(dark) + f64::from(light)))
            })
            .collect();
        Self {
            picture,
            across,
            blocks,
        }
    }

    /// How much darker a pixel is than what parts dark from light there; below nothing it is light.
    fn depth(&self, x: usize, y: usize) -> f64 {
        let value = f64::from(self.picture.values[y * self.picture.width + x]);
        let threshold = self.blocks[y / BLOCK * self.across + x / BLOCK];
        threshold.map_or(-1.0, |threshold| threshold - value)
    }

    /// The same between pixel centres; beyond the picture everything is light.
    fn depth_at(&self, [x, y]: [f64; 2]) -> f64 {
        let (x, y) = (x - 0.5, y - 0.5);
        let (left, top) = (libm::floor(x), libm::floor(y));
        let (fx, fy) = (x - left, y - top);
        let one = |x: f64, y: f64| {
            let within = x >= 0.0
                && y >= 0.0
                && x < self.picture.width as f64
                && y < self.picture.height as f64;
            if within {
                self.depth(x as usize, y as usize)
            } else {
                -1.0
            }
        };
        let upper = one(left, top) * (1.0 - fx) + one(left + 1.0, top) * fx;
        let lower = one(left, top + 1.0) * (1.0 - fx) + one(left + 1.0, top + 1.0) * fx;
        upper * (1.0 - fy) + lower * fy
    }

    /// Borders between light and dark along a row or a column, the first one into the dark.
    fn borders(&self, count: usize, at: impl Fn(usize) -> (usize, usize)) -> Vec<f64> {
        let mut borders = Vec::new();
        let mut before = -1.0;
        for i in 0..count {
            let (x, y) = at(i);
            let depth = self.depth(x, y);
            if (depth > 0.0) != (before > 0.0) {
                // Between the two pixels' centres, where the depth is nothing.
                let share = before / (before - depth);
                borders.push(i as f64 - 0.5 + share);
            }
            before = depth;
        }
        if before > 0.0 {
            borders.push(count as f64);
        }
        borders
    }
}

/// Middle of a finder pattern along a line through it, and the width of a module there, if these six borders are one's: runs of
/// one, one, three, one and one modules.
fn across(borders: &[f64]) -> Option<(f64, f64)> {
    let &[a, b, c, d, e, f] = borders else {
        return None;
    };
    let module = (f - a) / 7.0;
    let off = |run: f64, modules: f64, most: f64| (run - modules * module).abs() < most * module;
    let right = module > 1.0
        && off(b - a, 1.0, RUN_OFF)
        && off(c - b, 1.0, RUN_OFF)
        && off(d - c, 3.0, MIDDLE_OFF)
        && off(e - d, 1.0, RUN_OFF)
        && off(f - e, 1.0, RUN_OFF);
    // The pattern is as wide on both sides.
    right.then_some((0.25 * (a + f + c + d), module))
}

/// A finder pattern.
#[derive(Debug, Clone, Copy)]
struct Pattern {
    middle: [f64; 2],
    /// Width of a module along rows and columns, which is more than its own where the code is turned.
    module: f64,
    rows: usize,
}

fn patterns(seen: &Thresholds) -> Vec<Pattern> {
    let (width, height) = (seen.picture.width, seen.picture.height);
    let mut found: Vec<Pattern> = Vec::new();
    // Columns are looked up once each, when a row asks for them.
    let mut columns: Vec<Option<Vec<f64>>> = vec![None; width];
    for y in 0..height {
        let row = seen.borders(width, |x| (x, y));
        for runs in row.windows(6).step_by(2) {
            let Some((x, wide)) = across(runs) else {
                continue;
            };
            let column = (x as usize).min(width - 1);
            let borders =
                columns[column].get_or_insert_with(|| seen.borders(height, |y| (column, y)));
            // The window whose middle run holds this row.
            let next = borders.partition_point(|&border| border <= y as f64 + 0.5);
            if next.is_multiple_of(2) || next < 3 || next + 3 > borders.len() {
                continue;
            }
            let Some((middle, high)) = across(&borders[next - 3..next + 3]) else {
                continue;
            };
            if (wide / high - 1.0).abs() > 0.3 {
                continue;
            }
            let module = 0.5 * (wide + high);
            let same = found.iter_mut().rev().find(|old| {
                let apart = [old.middle[0] - x, old.middle[1] - middle];
                libm::hypot(apart[0], apart[1]) < 2.0 * module
                    && (old.module / module - 1.0).abs() < 0.4
            });
            match same {
                Some(old) => {
                    let n = old.rows as f64;
                    let mean = |a: f64, b: f64| (a * n + b) / (n + 1.0);
                    old.middle = [mean(old.middle[0], x), mean(old.middle[1], middle)];
                    old.module = mean(old.module, module);
                    old.rows += 1;
                }
                None => found.push(Pattern {
                    middle: [x, middle],
                    module,
                    rows: 1,
                }),
            }
        }
    }
    found.retain(|pattern| pattern.rows >= ROWS);
    crate::order::sort_by_number(&mut found, |pattern| -(pattern.rows as f64));
    found.truncate(MOST);
    found
}

/// Patterns to the right of a code's first one and below it, that could be of the same code.
fn pairs(patterns: &[Pattern], corner: usize) -> Vec<[usize; 2]> {
    let from = &patterns[corner];
    let away = |i: usize| [0, 1].map(|axis| patterns[i].middle[axis] - from.middle[axis]);
    let long = |d: [f64; 2]| libm::hypot(d[0], d[1]);
    let near: Vec<usize> = (0..patterns.len())
        .filter(|&i| {
            let d = away(i);
            // Along a row or a column a turned module is longer by this.
            let upright = d[0].abs().max(d[1].abs()) / long(d).max(1e-9);
            let leg = LEG * 0.5 * (from.module + patterns[i].module) * upright;
            i != corner && (long(d) / leg - 1.0).abs() < LEGS_DIFFER
        })
        .collect();
    let mut pairs = Vec::new();
    for &right in &near {
        for &below in &near {
            let (a, b) = (away(right), away(below));
            let both = long(a) * long(b);
            let alike = (long(a) / long(b).max(1e-9) - 1.0).abs() < LEGS_DIFFER;
            let square = (a[0] * b[0] + a[1] * b[1]).abs() < SQUARE * both;
            // Clockwise, as codes are seen from the front.
            if alike && square && a[0] * b[1] - a[1] * b[0] > 0.0 {
                pairs.push([right, below]);
            }
        }
    }
    pairs
}

/// How far the fourth corner may be from where the other three put it, in modules: perspective and bent paper.
const BENT: [f64; 5] = [0.0, -0.4, 0.4, -0.8, 0.8];

/// The code between three patterns: the first, the one to its right, the one below.
fn read(seen: &Thresholds, middles: [[f64; 2]; 3]) -> Option<Code> {
    let [first, right, below] = middles;
    let x_step = [0, 1].map(|i| (right[i] - first[i]) / LEG);
    let y_step = [0, 1].map(|i| (below[i] - first[i]) / LEG);
    let place = |x: f64, y: f64, [along, down]: [f64; 2]| -> [f64; 2] {
        let (u, v) = (x - FINDERS[0][0], y - FINDERS[0][1]);
        let bent = u * v / (LEG * LEG);
        let (u, v) = (u + along * bent, v + down * bent);
        std::array::from_fn(|i| first[i] + u * x_step[i] + v * y_step[i])
    };
    let bends = BENT.iter().flat_map(|&v| BENT.iter().map(move |&u| [u, v]));
    for bend in bends {
        let dark =
            |x: usize, y: usize| seen.depth_at(place(x as f64 + 0.5, y as f64 + 0.5, bend)) > 0.0;
        // The timing pattern says cheaply whether there is a code at all.
        let beats = (8..MODULES - 8)
            .filter(|&i| dark(i, 6) == i.is_multiple_of(2) && dark(6, i) == i.is_multiple_of(2))
            .count();
        if 4 * beats < 3 * (MODULES - 16) {
            return None;
        }
        if let Some(text) = words::read(dark) {
            let end = MODULES as f64;
            let corners = [[0.0, 0.0], [end, 0.0], [end, end], [0.0, end]];
            return Some(Code {
                text,
                corners: corners.map(|[x, y]| place(x, y, bend)),
            });
        }
    }
    None
}

/// Whether a place lies in a quadrangle that goes clockwise.
fn inside([x, y]: [f64; 2], corners: &[[f64; 2]; 4]) -> bool {
    (0..4).all(|i| {
        let (a, b) = (corners[i], corners[(i + 1) % 4]);
        (b[0] - a[0]) * (y - a[1]) - (b[1] - a[1]) * (x - a[0]) >= 0.0
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// A drawn code: light paper, `module` pixels a module, turned by `degrees` around the picture's middle.
    fn drawn(text: &str, module: f64, degrees: f64, slant: f64) -> (Vec<u8>, usize) {
        let code = words::write(text).unwrap();
        let size = (module * 50.0) as usize;
        let (sin, cos) = (degrees.to_radians().sin(), degrees.to_radians().cos());
        let middle = size as f64 / 2.0;
        let mut values = Vec::new();
        for y in 0..size {
            for x in 0..size {
                // Four by four looks a pixel: what a scanner averages.
                let mut light = 0.0;
                for k in 0..16 {
                    let at = [x, y];
                    let sub = [(k % 4) as f64, (k / 4) as f64];
                    let [dx, dy] = [0, 1].map(|i| at[i] as f64 + (sub[i] + 0.5) / 4.0 - middle);
                    let (u, v) = (cos * dx + sin * dy, cos * dy - sin * dx);
                    let far = 1.0 + slant * u / size as f64;
                    let [u, v] = [u, v].map(|c| c * far / module + MODULES as f64 / 2.0);
                    let on = |c: f64| (0.0..MODULES as f64).contains(&c);
                    let dark = on(u) && on(v) && code[v as usize * MODULES + u as usize];
                    light += if dark { 50.0 } else { 220.0 } / 16.0;
                }
                values.push(light as u8);
            }
        }
        (values, size)
    }

    fn look(values: &[u8], size: usize) -> Vec<Code> {
        codes(Picture {
            values,
            width: size,
            height: size,
        })
    }

    #[test]
    fn a_code_is_found_however_it_lies_and_its_corners_are_exact() {
        for (module, degrees, slant) in [
            (3.0, 0.0, 0.0),
            (3.4, 90.0, 0.0),
            (4.5, 7.0, 0.0),
            (4.5, 45.0, 0.0),
            (3.7, 187.0, 0.05),
            (6.0, 268.0, 0.08),
        ] {
            let (values, size) = drawn("2G1:a name on a card", module, degrees, slant);
            let found = look(&values, size);
            assert_eq!(found.len(), 1, "{module} {degrees}");
            assert_eq!(found[0].text, "2G1:a name on a card");
            if slant == 0.0 {
                let half = MODULES as f64 / 2.0 * module;
                let (sin, cos) = (degrees.to_radians().sin(), degrees.to_radians().cos());
                for (corner, [u, v]) in found[0].corners.iter().zip([
                    [-half, -half],
                    [half, -half],
                    [half, half],
                    [-half, half],
                ]) {
                    let expected = [cos * u - sin * v, sin * u + cos * v];
                    for i in 0..2 {
                        let off = corner[i] - size as f64 / 2.0 - expected[i];
                        assert!(off.abs() < 0.3 * module, "{off} at {degrees} degrees");
                    }
                }
            }
        }
    }

    #[test]
    fn codes_side_by_side_are_told_apart() {
        // Patterns of different codes stand in line and in square corners too.
        let drawn = [["2G1:one", "2G1:two"], ["2G1:three", "2G1:four"]]
            .map(|row| row.map(|text| drawn(text, 3.6, 0.0, 0.0)));
        let size = drawn[0][0].1;
        let values: Vec<u8> = (0..4 * size * size)
            .map(|i| {
                let (x, y) = (i % (2 * size), i / (2 * size));
                drawn[y / size][x / size].0[y % size * size + x % size]
            })
            .collect();
        let mut texts: Vec<String> = look(&values, 2 * size)
            .into_iter()
            .map(|c| c.text)
            .collect();
        texts.sort();
        assert_eq!(texts, ["2G1:four", "2G1:one", "2G1:three", "2G1:two"]);
    }

    #[test]
    fn a_mirrored_code_is_none() {
        let (mut values, size) = drawn("2G1:seen from behind", 4.0, 0.0, 0.0);
        values.chunks_exact_mut(size).for_each(<[u8]>::reverse);
        assert!(look(&values, size).is_empty());
    }

    proptest! {
        /// Rings and bars where no code is, at any places: no code, and no end of the program.
        #[test]
        fn any_picture_is_looked_at(
            size in 1..120_usize,
            rings in prop::collection::vec((0..120_usize, 0..120_usize, 1..5_usize), 0..40),
            noise in any::<u64>(),
        ) {
            let mut state = noise;
            let mut values: Vec<u8> = (0..size * size)
                .map(|_| {
                    state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
                    220 + (state >> 60) as u8
                })
                .collect();
            for (left, top, module) in rings {
                for y in 0..7 * module {
                    for x in 0..7 * module {
                        let out = |c: usize| (c / module).abs_diff(3);
                        let dark = out(x).max(out(y)) != 2;
                        if let (true, true, true) = (dark, left + x < size, top + y < size) {
                            values[(top + y) * size + left + x] = 40;
                        }
                    }
                }
            }
            prop_assert!(look(&values, size).is_empty());
        }
    }
}
