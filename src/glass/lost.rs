//! Where the drawing is lost: places where two sides differed before the films and hardly differ after.
//!
//! Drawing is told from grain by its scale: what is drawn makes the *means* of two neighbouring fields differ, while the grain of
//! paper, canvas or a sensor averages out in them. What is left of grain in such means is estimated from the picture itself, and
//! only what stands well above it counts as drawn.

use std::ops::Range;

/// Width of the two fields that are compared, in places.
const REACH: usize = 5;
/// Least step that counts as drawing, and the most that is left where it is lost: in L*, and as a share (all ours).
const DRAWN: f32 = 5.0;
const LEFT: f32 = 1.5;
const LEFT_SHARE: f32 = 0.25;
/// Steps that grain makes by chance, at most, in terms of the step that a quarter of a quiet part stays below. Two independent
/// differences of normal spread s have a length below 0.76 s in a quarter of places, and above 4.5 s in one of 25 000, which is
/// about as many fields as the copy has; a quarter more because the quietest parts are so by chance.
const CHANCE: f32 = 7.5;
/// Grain lies everywhere, drawing hardly does: this share of the parts counts as quiet.
const QUIET: f64 = 0.1;
/// The same in terms of the spread from one place to the next: means of 55 places differ by 0.19 of it.
const CHANCE_FINE: f32 = 4.5 * 0.19;
/// Side of the parts in which grain is measured. A sensor's is coarser in the dark.
const PART: usize = 64;

/// Where the drawing is lost.
#[derive(Debug, Clone, PartialEq)]
pub struct Lost {
    /// For every place.
    pub places: Vec<bool>,
    /// Share of the places that had drawing.
    pub share: f64,
}

/// Compares L* before and after the films, rows of `width`.
pub fn lost(before: &[f32], after: &[f32], width: usize) -> Lost {
    let (was, is) = (steps(before, width), steps(after, width));
    let grain = grain(before, &was, width);
    let drawn = |i: usize| was[i] >= DRAWN.max(grain[i / width / PART * width + i % width]);
    let places: Vec<bool> = (0..was.len())
        .map(|i| drawn(i) && is[i] <= LEFT.max(LEFT_SHARE * was[i]))
        .collect();
    let all = (0..was.len()).filter(|&i| drawn(i)).count();
    let gone = places.iter().filter(|gone| **gone).count();
    Lost {
        places,
        share: gone as f64 / all.max(1) as f64,
    }
}

/// How far the means of the fields on both sides of every place differ: the length of the differences across and down.
fn steps(values: &[f32], width: usize) -> Vec<f32> {
    let height = values.len() / width;
    if width <= 2 * REACH || height <= 2 * REACH {
        return vec![0.0; values.len()];
    }
    // Sums of everything above and to the left.
    let line = width + 1;
    let mut sums = vec![0.0_f64; line * (height + 1)];
    for y in 0..height {
        let mut row = 0.0;
        for x in 0..width {
            row += f64::from(values[y * width + x]);
            sums[(y + 1) * line + x + 1] = sums[y * line + x + 1] + row;
        }
    }
    let sum = |left: usize, top: usize, right: usize, bottom: usize| {
        sums[bottom * line + right] - sums[top * line + right] - sums[bottom * line + left]
            + sums[top * line + left]
    };
    let share = 1.0 / (REACH * (2 * REACH + 1)) as f64;
    let mut steps = Vec::with_capacity(values.len());
    for y in 0..height {
        // At the border the nearest fields that are whole.
        let y = y.clamp(REACH, height - REACH - 1);
        for x in 0..width {
            let x = x.clamp(REACH, width - REACH - 1);
            let (left, top, right, bottom) = (x - REACH, y - REACH, x + REACH + 1, y + REACH + 1);
            let across = sum(x + 1, top, right, bottom) - sum(left, top, x, bottom);
            let down = sum(left, y + 1, right, bottom) - sum(left, top, right, y);
            steps.push((across.hypot(down) * share) as f32);
        }
    }
    steps
}

/// The largest step that grain makes by chance, for every place across and every [`PART`] rows.
fn grain(values: &[f32], steps: &[f32], width: usize) -> Vec<f32> {
    let height = values.len() / width;
    // Every part from the left, then the next row of them: its rows and places across.
    let parts = (0..height).step_by(PART).flat_map(|top| {
        let part = move |left: usize| {
            (
                top..(top + PART).min(height),
                left..(left + PART).min(width),
            )
        };
        (0..width).step_by(PART).map(part)
    });
    let row = |of: &'_ [f32], y: usize, across: &Range<usize>| -> Vec<f32> {
        of[y * width..][across.clone()].to_vec()
    };
    let quarters = parts.clone().map(|(rows, across)| {
        let steps = rows.flat_map(|y| row(steps, y, &across));
        below(steps.collect(), 0.25)
    });
    let coarse = CHANCE * below(quarters.collect(), QUIET);
    parts
        .flat_map(|(rows, across)| {
            // Away from the mean of both neighbours: neither slopes nor single edges change the middle one of these.
            let off = rows.flat_map(|y| {
                let row = row(values, y, &across);
                let off = row
                    .windows(3)
                    .map(|at| (at[1] - 0.5 * (at[0] + at[2])).abs());
                off.collect::<Vec<f32>>()
            });
            // Half of normal deviations are below 0.674 of their spread; this difference has 1.5 times the variance.
            let spread = below(off.collect(), 0.5) / (0.674 * 1.5_f32.sqrt());
            across.map(move |_| coarse.max(CHANCE_FINE * spread))
        })
        .collect()
}

/// The value that this share of the others lies below; 0 of none.
fn below(mut values: Vec<f32>, share: f64) -> f32 {
    if values.is_empty() {
        return 0.0;
    }
    let at = ((values.len() - 1) as f64 * share) as usize;
    *values.select_nth_unstable_by(at, f32::total_cmp).1
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::simulate::random::Random;

    const WIDTH: usize = 300;
    const HEIGHT: usize = 200;

    fn field(mut at: impl FnMut(usize, usize) -> f32) -> Vec<f32> {
        (0..WIDTH * HEIGHT)
            .map(|i| at(i % WIDTH, i / WIDTH))
            .collect()
    }

    /// Grains of one kind each: fine as of a sensor, coarse as of paper, and woven.
    fn grains() -> [(&'static str, Vec<f32>); 3] {
        let mut random = Random::new(7);
        let fine = field(|_, _| 4.0 * random.normal() as f32);
        let noise = field(|_, _| random.normal() as f32);
        let coarse = field(|x, y| {
            let mut sum = 0.0;
            for dy in 0..4 {
                for dx in 0..4 {
                    sum += noise[(y + dy) % HEIGHT * WIDTH + (x + dx) % WIDTH];
                }
            }
            // Means of 16 have a quarter of the spread.
            3.0 * sum / 4.0
        });
        let woven = field(|x, y| 5.0 * ((x as f32 * 0.9).sin() + (y as f32 * 0.9).sin()));
        [("fine", fine), ("coarse", coarse), ("woven", woven)]
    }

    /// What is left of a ground's lightness under a film that covers.
    fn covered(before: &[f32]) -> Vec<f32> {
        before.iter().map(|l| 90.0 + 0.02 * (l - 60.0)).collect()
    }

    #[test]
    fn grain_is_no_drawing() {
        for (name, grain) in grains() {
            let before = field(|x, y| 60.0 + grain[y * WIDTH + x]);
            let found = lost(&before, &covered(&before), WIDTH);
            let gone = found.places.iter().filter(|g| **g).count();
            assert_eq!(gone, 0, "{name}");
        }
    }

    /// A line of two places, the edge of a field and a slanted edge, on every grain: hatched along them and nowhere else.
    #[test]
    fn drawing_on_grain_is_lost_where_it_is_covered_and_stays_under_a_glaze() {
        let near = |x: usize, y: usize| {
            let slant = (x as f32 - 220.0 - 0.3 * y as f32).abs();
            x.abs_diff(60) <= REACH + 1 || x.abs_diff(130) <= REACH + 1 || slant <= 9.0
        };
        for (name, grain) in grains() {
            let before = field(|x, y| {
                let ground = if (60..62).contains(&x) || (x as f32) > 220.0 + 0.3 * y as f32 {
                    35.0
                } else if x > 130 {
                    75.0
                } else {
                    60.0
                };
                ground + grain[y * WIDTH + x]
            });
            let found = lost(&before, &covered(&before), WIDTH);
            assert!(found.share > 0.99, "{name}: {}", found.share);
            let mut hatched = [0; 3];
            for (i, _) in found.places.iter().enumerate().filter(|(_, gone)| **gone) {
                let (x, y) = (i % WIDTH, i / WIDTH);
                assert!(near(x, y), "{name}: {x} {y}");
                hatched[if x < 70 { 0 } else { usize::from(x > 140) + 1 }] += 1;
            }
            // At least as wide as two strokes of the hatching along each of them.
            assert!(
                hatched.iter().all(|n| *n > 4 * HEIGHT),
                "{name}: {hatched:?}"
            );
            let glazed: Vec<f32> = before.iter().map(|l| 0.7 * l).collect();
            assert_eq!(lost(&before, &glazed, WIDTH).share, 0.0, "{name}");
        }
    }

    #[test]
    fn an_edge_that_goes_is_lost_and_a_flat_field_is_not() {
        let edge = |light: f32, dark: f32| field(|x, _| if x < 150 { light } else { dark });
        let gone = lost(&edge(80.0, 50.0), &edge(31.0, 30.0), WIDTH);
        assert_eq!(gone.share, 1.0);
        for (i, lost) in gone.places.iter().enumerate() {
            assert_eq!(*lost, (145..=154).contains(&(i % WIDTH)), "{}", i % WIDTH);
        }
        assert_eq!(lost(&edge(80.0, 50.0), &edge(60.0, 40.0), WIDTH).share, 0.0);
        assert_eq!(lost(&edge(50.0, 50.0), &edge(30.0, 30.0), WIDTH).share, 0.0);
        // Too small to compare any fields.
        assert_eq!(lost(&[50.0; 30], &[30.0; 30], 6).share, 0.0);
    }
}
