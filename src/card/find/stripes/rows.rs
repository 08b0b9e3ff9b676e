//! What rows across the stripes show: how far the stripes reach, those that were missed, and where they end.

use super::{
    super::{
        Ruler,
        bars::median,
        line::{self, Line, Point},
        picture::{Picture, brightest},
    },
    Stripes, runs,
};
use crate::order::sort_by_number;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Row {
    Bare,
    Void,
    Other,
    Beyond,
}

/// Share of the stripes that have to look bare in a bare row: all of three, but one may be spoilt of four.
const MOST_OF: f64 = 0.75;

impl Stripes {
    /// What a row shows: all stripes bare, all of it white, or something else.
    fn row(&self, picture: &Picture, v: f64) -> Row {
        let width = self.width();
        let levels = &self.levels;
        if !self.inside(picture, self.blacks[0][0], v)
            && !self.inside(picture, self.blacks[self.blacks.len() - 1][1], v)
        {
            return Row::Beyond;
        }
        let share = |hits: usize, all: usize| {
            if all == 0 {
                1.0
            } else {
                hits as f64 / all as f64
            }
        };
        let black_at = |b: &[f64; 2], test: &dyn Fn([f32; 3]) -> bool| {
            [0.25, 0.5, 0.75]
                .iter()
                .all(|t| test(self.colour(picture, b[0] + t * (b[1] - b[0]), v)))
        };
        let blacks = self
            .blacks
            .iter()
            .filter(|b| black_at(b, &|c| levels.is_black(c)))
            .count();
        let hidden = self
            .blacks
            .iter()
            .filter(|b| black_at(b, &|c| levels.is_white(c)))
            .count();
        let mut gaps: Vec<[f64; 2]> = self.blacks.windows(2).map(|p| [p[0][1], p[1][0]]).collect();
        if gaps.is_empty() {
            let (first, last) = (self.blacks[0], self.blacks[self.blacks.len() - 1]);
            gaps = vec![
                [first[0] - 0.5 * width, first[0]],
                [last[1], last[1] + 0.5 * width],
            ];
        }
        let is_white = |g: &&[f64; 2]| {
            let spots = [0.25, 0.4, 0.5, 0.6, 0.75]
                .map(|t| self.colour(picture, g[0] + t * (g[1] - g[0]), v));
            spots.iter().filter(|c| levels.is_white(**c)).count() >= 3
        };
        let whites = gaps.iter().filter(is_white).count();
        let (black, white) = (share(blacks, self.blacks.len()), share(whites, gaps.len()));
        if black >= MOST_OF && white >= MOST_OF {
            Row::Bare
        } else if share(hidden, self.blacks.len()) > 0.8 && white > 0.8 {
            Row::Void
        } else {
            Row::Other
        }
    }

    /// Whether a row shows all stripes bare.
    pub(super) fn is_bare(&self, picture: &Picture, v: f64) -> bool {
        self.row(picture, v) == Row::Bare
    }

    /// Follows the stripes beyond the bars that were seen: bare rows within the reach of one film belong to the card.
    pub(super) fn extend(&mut self, picture: &Picture, ruler: &Ruler) {
        let step = ruler.pixels(0.5).max(1.0);
        for which in 0..2 {
            let outward = if which == 0 { -step } else { step };
            let start = self.end(which, self.middle());
            let (mut v, mut last, mut void) = (start - 2.0 * outward, start, 0.0);
            let mut before = false;
            while (v - last).abs() < ruler.pixels(45.0) {
                match self.row(picture, v) {
                    Row::Beyond => break,
                    // One bare row alone may be chance.
                    Row::Bare if before => (last, void) = (v, 0.0),
                    Row::Void => void += step,
                    _ => {}
                }
                before = self.row(picture, v) == Row::Bare;
                // Plain white right after the stripes is where the card's margin begins.
                if void > ruler.pixels(6.0) && (v - last).abs() < ruler.pixels(9.0) {
                    break;
                }
                v += outward;
            }
            if (last - start) * outward > 0.0 {
                self.ends[which] = Line {
                    at: last,
                    slope: 0.0,
                };
            }
        }
    }

    /// Brightness along u over the bare rows, from `left` in steps of one pixel; NaN beyond the picture.
    pub(super) fn bare_profile(&self, picture: &Picture, left: f64, right: f64) -> Vec<f32> {
        let (top, bottom) = (self.end(0, self.middle()), self.end(1, self.middle()));
        let rows: Vec<f64> = (0..400)
            .map(|k| top + (bottom - top) * (f64::from(k) + 0.5) / 400.0)
            .collect();
        let mut bare: Vec<f64> = rows
            .into_iter()
            .filter(|&v| self.row(picture, v) == Row::Bare)
            .collect();
        let skip = bare.len().div_ceil(50).max(1);
        bare = bare.into_iter().step_by(skip).collect();
        let mut column = Vec::with_capacity(bare.len());
        (0..(right - left) as usize)
            .map(|k| {
                let u = left + k as f64;
                column.clear();
                column.extend(
                    bare.iter()
                        .filter(|&&v| self.inside(picture, u, v))
                        .map(|&v| brightest(&self.colour(picture, u, v))),
                );
                if column.len() * 2 > bare.len() {
                    median(&mut column)
                } else {
                    f32::NAN
                }
            })
            .collect()
    }

    /// Adds stripes that the edges missed: dark runs of like width at a like distance in the bare rows.
    pub(super) fn add_missed(&mut self, picture: &Picture) -> bool {
        let width = self.width();
        let gap = self.gap();
        let left = self.blacks[0][0] - 7.0 * (width + gap);
        let right = self.blacks[self.blacks.len() - 1][1] + 7.0 * (width + gap);
        let profile = self.bare_profile(picture, left, right);
        let limit = self.levels.between(0.35);
        let white = self.levels.between(0.8);
        let runs: Vec<[f64; 2]> = runs(&profile, |b| b < limit)
            .into_iter()
            .map(|[a, b]| [left + a as f64, left + b as f64])
            .filter(|[a, b]| (0.7 * width..1.35 * width).contains(&(b - a)))
            .collect();
        let all_white = |from: f64, to: f64| {
            let at = |u: f64| ((u - left).round().max(0.0) as usize).min(profile.len());
            let part = &profile[at(from)..at(to).max(at(from))];
            !part.is_empty() && part.iter().filter(|b| **b > white).count() * 20 >= part.len() * 19
        };
        let edge = 0.08 * width + 2.0;
        let mut added = false;
        loop {
            let (first, last) = (self.blacks[0], self.blacks[self.blacks.len() - 1]);
            let fits = |[a, b]: &&[f64; 2]| {
                if self
                    .blacks
                    .iter()
                    .any(|s| b.min(s[1]) - a.max(s[0]) > -0.2 * width)
                {
                    return false;
                }
                let between = self
                    .blacks
                    .iter()
                    .rev()
                    .find(|s| s[1] < *a)
                    .map_or(*b, |s| s[1]);
                let (from, to) = if *a > first[1] && *a < last[0] {
                    (between, *a)
                } else if *a > last[1] {
                    (last[1], *a)
                } else {
                    (*b, first[0])
                };
                let outside = if *a > last[1] {
                    (*b + edge, *b + edge + 0.15 * width)
                } else {
                    (*a - edge - 0.15 * width, *a - edge)
                };
                (0.5 * gap..1.5 * gap).contains(&(to - from))
                    && all_white(from + edge, to - edge)
                    && all_white(outside.0, outside.1)
            };
            let Some(run) = runs.iter().find(fits).copied() else {
                break;
            };
            self.blacks.push(run);
            sort_by_number(&mut self.blacks, |run| run[0]);
            added = true;
        }
        added
    }

    /// How far white reaches beyond the outermost black stripes, left and right, in the rows that are bare beside them; at
    /// most one stripe width.
    pub(in crate::card::find) fn whites(&self, picture: &Picture) -> [f64; 2] {
        let last = self.blacks[self.blacks.len() - 1];
        let [top, bottom] = [0, 1].map(|k| self.end(k, self.middle()));
        let rows = (0..100).map(|k| top + (bottom - top) * (f64::from(k) + 0.5) / 100.0);
        let rows: Vec<f64> = rows.collect();
        [(self.blacks[0], -1.0), (last, 1.0)].map(|(black, side)| {
            let edge = if side < 0.0 { black[0] } else { black[1] };
            let is_white = |d: f64, v: f64| {
                let u = edge + side * d;
                self.inside(picture, u, v) && self.levels.is_white(self.colour(picture, u, v))
            };
            let is_black = |v: f64| {
                self.levels
                    .is_black(self.colour(picture, (black[0] + black[1]) / 2.0, v))
            };
            let blur = 3.0;
            let bare: Vec<f64> = rows
                .iter()
                .copied()
                .filter(|&v| is_black(v) && is_white(blur, v))
                .collect();
            let mut reach = blur;
            while reach < self.width()
                && 5 * bare.iter().filter(|&&v| is_white(reach, v)).count() > 3 * bare.len()
            {
                reach += 1.0;
            }
            if reach > blur { reach } else { 0.0 }
        })
    }

    /// Finds where the stripes end: the last dark row of every black stripe and the last white row of every white one.
    pub(super) fn find_ends(&mut self, picture: &Picture, ruler: &Ruler) {
        let half = self.levels.between(0.5);
        let blacks = self.blacks.clone();
        let whites: Vec<[f64; 2]> = blacks.windows(2).map(|p| [p[0][1], p[1][0]]).collect();
        let middle = self.middle();
        let (reach, lasting) = (ruler.pixels(4.0), ruler.pixels(1.0).max(2.0));
        for which in 0..2 {
            let start = self.end(which, self.middle());
            let outward = if which == 0 { -1.0 } else { 1.0 };
            let dark = self.run_out(picture, &blacks, start, outward, [reach, lasting], |b| {
                b < half
            });
            let light = self.run_out(picture, &whites, start, outward, [reach, lasting], |b| {
                b > half
            });
            let lines = [dark, light]
                .map(|ends| (ends.len() >= 3).then(|| line::robust(&ends, ruler.pixels(0.3))));
            // The pattern ends where the first of its two colours does.
            let inner = lines
                .into_iter()
                .flatten()
                .min_by(|a, b| (a.v(middle) * outward).total_cmp(&(b.v(middle) * outward)));
            if let Some(line) = inner {
                self.ends[which] = line;
            }
        }
    }

    /// For every zone, at several places across, where it stops being what it is, counted from a little inside `start`:
    /// pairs (u, v). Places without a stop within reach are left out.
    fn run_out(
        &self,
        picture: &Picture,
        zones: &[[f64; 2]],
        start: f64,
        outward: f64,
        [reach, lasting]: [f64; 2],
        is: impl Fn(f32) -> bool,
    ) -> Vec<Point> {
        let mut ends = Vec::new();
        for zone in zones {
            for t in [0.3, 0.5, 0.7] {
                let u = zone[0] + t * (zone[1] - zone[0]);
                let bright = |d: f64| brightest(&self.colour(picture, u, start + outward * d));
                // Outwards from a little inside; writing beyond the end is passed over only if something lies between.
                let mut d = -reach;
                let mut off = 0.0;
                while d < reach && off < lasting {
                    off = if is(bright(d)) { 0.0 } else { off + 0.5 };
                    d += 0.5;
                }
                if off >= lasting && d > lasting - reach + 0.5 {
                    // Painted or cut ends stray by about a third of a millimetre (lasting is one).
                    let weight = 1.0 / (0.3 * lasting * 0.3 * lasting);
                    ends.push(Point {
                        u,
                        v: start + outward * (d - off - 0.25),
                        weight,
                    });
                }
            }
        }
        ends
    }
}
