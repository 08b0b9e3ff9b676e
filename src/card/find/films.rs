//! Films across the stripes: rows of the squared card where the colour over white and over black steps, and which
//! steps belong together.

use super::{
    bars::median,
    line::{self, Line, Point},
    picture::Picture,
};
use crate::{
    card::{Ground, rectify::Frame},
    order::sort_by_number,
};

/// A squared card in the picture: `frame` maps positions in pixels (about those of the picture) on a card of `size`.
pub(super) struct Squared<'a> {
    pub(super) picture: &'a Picture,
    pub(super) frame: &'a Frame,
    pub(super) size: [f64; 2],
    /// Left and right edge of every black stripe.
    pub(super) blacks: &'a [[f64; 2]],
    /// How far to the left and to the right the white beyond the outermost black stripes reaches.
    pub(super) whites: [f64; 2],
    /// Pixels per millimetre, as far as known.
    pub(super) per_mm: f64,
}

/// One lengthwise part of a stripe: its colour row by row.
pub(super) struct Zone {
    pub(super) ground: Ground,
    /// Whether it is the white beyond the outermost black stripe.
    pub(super) outer: bool,
    /// Middle and width.
    pub(super) u: f64,
    pub(super) width: f64,
    rows: Vec<[f64; 3]>,
    /// How much the brightness varies across, row by row (distance of the quartiles).
    unevenness: Vec<f32>,
    steps: Vec<[f64; 3]>,
}

/// A film that was found.
#[derive(Debug, Clone)]
pub(super) struct Film {
    /// Its edges; u counts from the middle of the black stripes.
    pub(super) top: Line,
    pub(super) bottom: Line,
    /// How far its edges stand out of the noise.
    pub(super) strength: [f64; 2],
    /// How well the step out undoes the step in: 1 entirely, 0 not at all.
    pub(super) likeness: f64,
    /// Step in: R, G, B over white, then over black.
    pub(super) step: [f64; 6],
    /// How far the smaller of both steps over white, and over black, stands out of its noise.
    change: [f64; 2],
}

impl Film {
    /// Whether it plainly changes the black.
    pub(super) fn shows_on_black(&self) -> bool {
        self.change[1] > 8.0
    }

    /// What of the card itself this film may be instead of paint, if it changes one ground into exactly the other and
    /// leaves that one alone.
    pub(super) fn print(&self, contrast: f64) -> Option<Ground> {
        let largest = |steps: &[f64]| steps.iter().fold(0.0, |a: f64, s| a.max(s.abs()));
        let (white, black) = (largest(&self.step[..3]), largest(&self.step[3..]));
        let unchanged = |k: usize, change: f64| change < 0.015 && self.change[k] < 4.0;
        if black > 0.8 * contrast && unchanged(0, white) {
            Some(Ground::White)
        } else if white > 0.8 * contrast && unchanged(1, black) {
            Some(Ground::Black)
        } else {
            None
        }
    }
}

/// All that was found along a card.
pub(super) struct Films {
    pub(super) films: Vec<Film>,
    /// What the best reading with exactly so many films is worth; the index is the number of films.
    pub(super) worth: Vec<f64>,
    /// Edges that no film uses: where, and how far they stand out.
    pub(super) left_over: Vec<Edge>,
    pub(super) zones: Vec<Zone>,
    pub(super) scale: Rows,
}

/// A step that may be a film's edge.
#[derive(Debug, Clone, Copy)]
pub(super) struct Edge {
    pub(super) line: Line,
    /// Standard deviations above noise, compressed above 20.
    pub(super) strength: f64,
    step: [f64; 6],
    row: usize,
}

/// From rows to positions.
#[derive(Debug, Clone, Copy)]
pub(super) struct Rows {
    first: f64,
    count: usize,
    per_mm: f64,
    middle: f64,
}

impl Rows {
    fn row(&self, v: f64) -> usize {
        ((v - self.first).round().max(0.0) as usize).min(self.count - 1)
    }

    fn v(&self, row: usize) -> f64 {
        self.first + row as f64
    }

    /// Position of a step at a row: the row before it and the row itself lie to both sides.
    fn step_at(&self, row: f64) -> f64 {
        self.first + row - 0.5
    }

    fn span(&self, mm: f64) -> usize {
        (mm * self.per_mm).round().max(1.0) as usize
    }
}

/// Most films on one card that are looked for.
pub(super) const MOST: usize = 12;
/// Edges that stand out less than this are not looked at.
const FAINTEST: f64 = 6.0;
/// Where strong edges stop counting more in proportion.
const STRONG: f64 = 20.0;
/// What an edge may count at most.
const TOP: f64 = 90.0;

/// Finds films; with `wish`, the best reading with exactly that many.
pub(super) fn films(card: &Squared, wish: Option<usize>) -> Films {
    let (zones, scale) = zones(card);
    let mut found = Films {
        films: Vec::new(),
        worth: vec![0.0],
        left_over: Vec::new(),
        zones,
        scale,
    };
    let inside = [scale.row(0.0), scale.row(card.size[1])];
    let window = scale.span(1.5).max(3);
    let no_white = speaking(&found.zones, Ground::White).is_empty();
    if no_white || inside[1] < inside[0] + 4 * window {
        return found;
    }
    for zone in &mut found.zones {
        zone.find_steps(inside, window, scale.span(0.3), scale.span(0.9));
    }
    let noise = noise(&found.zones, &scale, inside, window);
    let edges = edges(&found.zones, &scale, inside, &noise);
    let contrast = Deficit::of(&found.zones, &scale, inside);
    let (pairs, worth) = partition(&edges, &contrast, &scale, inside, wish);
    found.films = pairs
        .iter()
        .map(|&(a, b)| {
            let (enter, leave) = (&edges[a], &edges[b]);
            Film {
                top: refine(&found.zones, &scale, enter, &noise),
                bottom: refine(&found.zones, &scale, leave, &noise),
                strength: [enter.strength, leave.strength],
                likeness: likeness(enter, leave).0,
                step: enter.step,
                change: [0..3, 3..6].map(|part| {
                    let of = |e: &Edge| size(&e.step[part.clone()], &noise[part.clone()]);
                    of(enter).min(of(leave))
                }),
            }
        })
        .collect();
    let near = |e: &Edge, (a, b): (usize, usize)| {
        let close = |k: usize| (edges[k].line.at - e.line.at).abs() < 2.6 * scale.per_mm;
        close(a) || close(b)
    };
    let inside_film = |e: &Edge, (a, b): (usize, usize)| {
        edges[a].row < e.row && e.row < edges[b].row && norm(&e.step) < 0.6 * norm(&edges[a].step)
    };
    found.left_over = edges
        .iter()
        .filter(|e| !pairs.iter().any(|&p| near(e, p) || inside_film(e, p)))
        .copied()
        .collect();
    found.worth = worth;
    found
}

/// Cuts the stripes, and the white beyond them, into parts at most 9 mm wide and takes the median colour of each row.
fn zones(card: &Squared) -> (Vec<Zone>, Rows) {
    let margin = 4.0 * card.per_mm;
    let count = (card.size[1] + 2.0 * margin) as usize;
    let middle = (card.blacks[0][0] + card.blacks[card.blacks.len() - 1][1]) / 2.0;
    let scale = Rows {
        first: -margin,
        count,
        per_mm: card.per_mm,
        middle,
    };
    let mut zones = Vec::new();
    let mut add = |ground, outer, from: f64, to: f64| {
        let width = to - from;
        let inset = (0.1 * width)
            .max(0.6 * card.per_mm)
            .max(1.5)
            .min(0.25 * width);
        let parts = ((width - 2.0 * inset) / (9.0 * card.per_mm))
            .round()
            .max(1.0);
        let part = (width - 2.0 * inset) / parts;
        for k in 0..parts as usize {
            let left = from + inset + part * k as f64;
            let (rows, unevenness) = column(card, &scale, left, left + part);
            zones.push(Zone {
                ground,
                outer,
                u: left + part / 2.0,
                width: part,
                rows,
                unevenness,
                steps: Vec::new(),
            });
        }
    };
    let typical = {
        let mut widths: Vec<f32> = card.blacks.iter().map(|b| (b[1] - b[0]) as f32).collect();
        f64::from(median(&mut widths))
    };
    for (i, black) in card.blacks.iter().enumerate() {
        add(Ground::Black, false, black[0], black[1]);
        if let Some(next) = card.blacks.get(i + 1) {
            add(Ground::White, false, black[1], next[0]);
        }
    }
    let (first, last) = (card.blacks[0][0], card.blacks[card.blacks.len() - 1][1]);
    for [from, to] in [
        [card.whites[0].max(first - typical), first],
        [last, card.whites[1].min(last + typical)],
    ] {
        if to - from > 2.5 * card.per_mm {
            add(Ground::White, true, from, to);
        }
    }
    (zones, scale)
}

/// For every row: the mean colour of its middle half, as robust as a median against hairs and dust but less noisy, and
/// how far its quartiles are apart.
fn column(card: &Squared, scale: &Rows, left: f64, right: f64) -> (Vec<[f64; 3]>, Vec<f32>) {
    let looks = ((right - left).round() as usize).clamp(4, 40);
    let cut = looks / 4;
    let mut lines = [vec![0.0_f32; looks], vec![0.0; looks], vec![0.0; looks]];
    (0..scale.count)
        .map(|row| {
            for k in 0..looks {
                let u = left + (right - left) * (k as f64 + 0.5) / looks as f64;
                let [x, y] = card.frame.to_scan([u, scale.v(row)]);
                let colour = card.picture.sample(x, y);
                for (line, value) in lines.iter_mut().zip(colour) {
                    line[k] = value;
                }
            }
            lines
                .iter_mut()
                .for_each(|line| line.sort_unstable_by(f32::total_cmp));
            let middle = |line: &Vec<f32>| {
                line[cut..looks - cut].iter().sum::<f32>() / (looks - 2 * cut) as f32
            };
            let colour = std::array::from_fn(|c| f64::from(middle(&lines[c])));
            (colour, lines[1][looks - 1 - cut] - lines[1][cut])
        })
        .unzip()
}

impl Zone {
    /// For every row: mean of a window after it less mean of a window before it, a short way off on both sides.
    fn find_steps(&mut self, inside: [usize; 2], window: usize, dead: usize, skirt: usize) {
        let n = self.rows.len();
        let (first, last) = (inside[0] + skirt, inside[1].saturating_sub(skirt));
        // Beyond the stripes' ends the bare colour goes on, so that the ends are no edges.
        let mean = |rows: &[[f64; 3]]| sum(rows).map(|s| s / rows.len().max(1) as f64);
        let (head, tail) = (
            mean(&self.rows[first..first + window]),
            mean(&self.rows[last - window..last]),
        );
        self.rows[..first].fill(head);
        self.rows[last..].fill(tail);
        let mut sums = Vec::with_capacity(n + 1);
        sums.push([0.0; 3]);
        for row in &self.rows {
            let before: [f64; 3] = sums[sums.len() - 1];
            sums.push(std::array::from_fn(|c| before[c] + row[c]));
        }
        self.steps = vec![[0.0; 3]; n];
        for i in window + dead..n.saturating_sub(window + dead) {
            let total = |from: usize, to: usize, c: usize| sums[to][c] - sums[from][c];
            self.steps[i] = std::array::from_fn(|c| {
                (total(i + dead, i + dead + window, c) - total(i - dead - window, i - dead, c))
                    / window as f64
            });
        }
    }

    /// The step where an edge of this slope, at `row` in the middle of the card, crosses this zone.
    fn step(&self, scale: &Rows, row: usize, slope: f64) -> [f64; 3] {
        let shift = (slope * (self.u - scale.middle)).round() as isize;
        row.checked_add_signed(shift)
            .and_then(|r| self.steps.get(r))
            .copied()
            .unwrap_or([0.0; 3])
    }
}

fn sum(rows: &[[f64; 3]]) -> [f64; 3] {
    rows.iter()
        .fold([0.0; 3], |s, r| std::array::from_fn(|c| s[c] + r[c]))
}

/// The zones that speak for a ground: white ones between black stripes, the outer ones if there are none.
fn speaking(zones: &[Zone], ground: Ground) -> Vec<&Zone> {
    let of = |outer| {
        zones
            .iter()
            .filter(|z| z.ground == ground && z.outer == outer)
            .collect::<Vec<_>>()
    };
    let inner = of(false);
    if inner.is_empty() { of(true) } else { inner }
}

/// Steps of one ground's zones brought together: half their median (a film may miss a stripe), half their mean.
fn together(zones: &[&Zone], scale: &Rows, row: usize, slope: f64) -> [f64; 3] {
    let weight: f64 = zones.iter().map(|z| z.width).sum();
    let mut mean = [0.0; 3];
    let mut all: [Vec<f32>; 3] = std::array::from_fn(|_| Vec::with_capacity(zones.len()));
    for zone in zones {
        let step = zone.step(scale, row, slope);
        for c in 0..3 {
            mean[c] += step[c] * zone.width / weight;
            all[c].push(step[c] as f32);
        }
    }
    if zones.len() < 3 {
        return mean;
    }
    std::array::from_fn(|c| 0.5 * mean[c] + 0.5 * f64::from(median(&mut all[c])))
}

fn joined(whites: &[&Zone], blacks: &[&Zone], scale: &Rows, row: usize, slope: f64) -> [f64; 6] {
    let (w, b) = (
        together(whites, scale, row, slope),
        together(blacks, scale, row, slope),
    );
    [w[0], w[1], w[2], b[0], b[1], b[2]]
}

/// Standard deviation of the steps where nothing happens, per channel over white and over black.
fn noise(zones: &[Zone], scale: &Rows, inside: [usize; 2], window: usize) -> [f64; 6] {
    let (whites, blacks) = (
        speaking(zones, Ground::White),
        speaking(zones, Ground::Black),
    );
    let rows = inside[0] + window..inside[1] - window;
    let steps: Vec<[f64; 6]> = rows
        .map(|row| joined(&whites, &blacks, scale, row, 0.0))
        .collect();
    std::array::from_fn(|c| {
        let mut sizes: Vec<f64> = steps.iter().map(|s| s[c].abs()).collect();
        sizes.sort_unstable_by(f64::total_cmp);
        // 40 % of a normal distribution lie within 0.524 sd; rows at edges are in the upper part.
        (sizes[sizes.len() * 2 / 5] / 0.524).max(LEAST_NOISE)
    })
}

/// A third of one step of an 8-bit scan.
const LEAST_NOISE: f64 = 0.0012;

/// Slopes tried: 3 degrees to both sides.
fn slopes(zones: &[Zone], per_mm: f64) -> Vec<f64> {
    let (low, high) = zones
        .iter()
        .fold((f64::MAX, f64::MIN), |(a, b), z| (a.min(z.u), b.max(z.u)));
    if high - low < 12.0 * per_mm {
        return vec![0.0];
    }
    (-12..=12)
        .map(|k| f64::from(k) * 0.25_f64.to_radians())
        .collect()
}

/// Rows where the step stands out, strongest of their surroundings, from top to bottom.
fn edges(zones: &[Zone], scale: &Rows, inside: [usize; 2], noise: &[f64; 6]) -> Vec<Edge> {
    let (whites, blacks) = (
        speaking(zones, Ground::White),
        speaking(zones, Ground::Black),
    );
    let rim = scale.span(1.2);
    let rows = inside[0] + rim..inside[1].saturating_sub(rim);
    let slopes = slopes(zones, scale.per_mm);
    let best_at = |row: usize| {
        let of = |&slope: &f64| {
            let step = joined(&whites, &blacks, scale, row, slope);
            let size = libm::sqrt(
                (0..6)
                    .map(|c| (step[c] / noise[c]) * (step[c] / noise[c]))
                    .sum::<f64>()
                    / 2.0,
            );
            let strength = compressed(size) * (1.0 - 0.03 * slope.to_degrees().abs());
            Edge {
                line: Line {
                    at: scale.step_at(row as f64),
                    slope,
                },
                strength,
                step,
                row,
            }
        };
        slopes.iter().map(of).fold(None, |a: Option<Edge>, e| {
            if a.is_some_and(|a| a.strength >= e.strength) {
                a
            } else {
                Some(e)
            }
        })
    };
    let all: Vec<Edge> = rows.filter_map(best_at).collect();
    let (near, close) = (scale.span(0.6), scale.span(1.6));
    let mut order: Vec<usize> = (0..all.len())
        .filter(|&i| all[i].strength >= FAINTEST)
        .collect();
    sort_by_number(&mut order, |&i| -all[i].strength);
    let mut kept: Vec<usize> = Vec::new();
    for i in order {
        let around = &all[i.saturating_sub(near)..(i + near + 1).min(all.len())];
        let highest = around.iter().all(|e| e.strength <= all[i].strength);
        let free = |&k: &usize| {
            let apart = i.abs_diff(k);
            apart > close
                && (apart > 2 * close
                    || expanded(all[i].strength) > 0.12 * expanded(all[k].strength))
        };
        if highest && kept.iter().all(free) && kept.len() < 60 {
            kept.push(i);
        }
    }
    kept.sort_unstable();
    kept.into_iter().map(|i| all[i]).collect()
}

/// Length of a step in standard deviations.
fn size(step: &[f64], noise: &[f64]) -> f64 {
    libm::sqrt(step.iter().zip(noise).map(|(s, n)| (s / n) * (s / n)).sum())
}

fn compressed(size: f64) -> f64 {
    if size < STRONG {
        size
    } else {
        STRONG * (1.0 + libm::log(size / STRONG))
    }
}

fn expanded(strength: f64) -> f64 {
    if strength < STRONG {
        strength
    } else {
        STRONG * libm::exp(strength / STRONG - 1.0)
    }
}

/// How much of the contrast between white and black is lost in each row: 0 on bare card, 1 under a hiding film.
struct Deficit(Vec<f64>);

impl Deficit {
    fn of(zones: &[Zone], scale: &Rows, inside: [usize; 2]) -> Self {
        let mean = |ground| {
            let zones = speaking(zones, ground);
            (0..scale.count)
                .map(|row| {
                    zones
                        .iter()
                        .map(|z| z.rows[row].iter().sum::<f64>())
                        .sum::<f64>()
                        / zones.len() as f64
                })
                .collect::<Vec<_>>()
        };
        let contrast: Vec<f64> = mean(Ground::White)
            .iter()
            .zip(mean(Ground::Black))
            .map(|(w, b)| w - b)
            .collect();
        let mut sorted =
            contrast[inside[0] + scale.span(1.0)..inside[1] - scale.span(1.0)].to_vec();
        sorted.sort_unstable_by(f64::total_cmp);
        let bare = sorted[sorted.len() * 93 / 100].max(1e-3);
        Self(contrast.iter().map(|c| 1.0 - c / bare).collect())
    }

    /// A quantile over the rows [from, to).
    fn quantile(&self, from: usize, to: usize, share: f64) -> f64 {
        let mut part = self.0[from.min(self.0.len())..to.clamp(from, self.0.len())].to_vec();
        part.sort_unstable_by(f64::total_cmp);
        if part.is_empty() {
            0.0
        } else {
            part[((part.len() - 1) as f64 * share) as usize]
        }
    }
}

fn norm(v: &[f64; 6]) -> f64 {
    libm::sqrt(v.iter().map(|x| x * x).sum())
}

/// How far two steps are opposite (cosine), and how alike in size (ratio).
fn likeness(enter: &Edge, leave: &Edge) -> (f64, f64) {
    let (a, b) = (norm(&enter.step), norm(&leave.step));
    let dot: f64 = enter.step.iter().zip(&leave.step).map(|(x, y)| x * y).sum();
    (-dot / (a * b).max(1e-12), a.min(b) / a.max(b).max(1e-12))
}

/// Loss of contrast between white and black, summed over the channels: positive where a film begins.
fn loss(e: &Edge) -> f64 {
    e.step[3..].iter().sum::<f64>() - e.step[..3].iter().sum::<f64>()
}

/// Pairs edges into films by dynamic programming, for every number of films. Returns the pairs for the wished number,
/// or else the best, and what every number is worth.
fn partition(
    edges: &[Edge],
    deficit: &Deficit,
    scale: &Rows,
    inside: [usize; 2],
    wish: Option<usize>,
) -> (Vec<(usize, usize)>, Vec<f64>) {
    let n = edges.len();
    let most = MOST.min(n / 2);
    let worth_of = |a: usize, b: usize| pair_worth(edges, a, b, deficit, scale, inside);
    let pairs: Vec<(usize, usize, f64)> = (0..n)
        .flat_map(|b| {
            (0..b)
                .filter_map(move |a| worth_of(a, b).map(|w| (a, b, w)))
                .collect::<Vec<_>>()
        })
        .collect();
    // best[k][j]: worth of the first j edges with k films, and the pair that ends there.
    let mut best = vec![vec![(f64::NEG_INFINITY, None); n + 1]; most + 1];
    best[0][0] = (0.0, None);
    for j in 1..=n {
        let twin = j > 1 && edges[j - 1].line.at - edges[j - 2].line.at < 2.6 * scale.per_mm;
        let unused = if twin {
            0.0
        } else {
            0.3 * edges[j - 1].strength.min(TOP)
        };
        for k in 0..=most {
            let mut here = (best[k][j - 1].0 - unused, None);
            if k > 0 {
                for &(a, _, worth) in pairs.iter().filter(|p| p.1 == j - 1) {
                    let value = best[k - 1][a].0 + worth;
                    if value > here.0 {
                        here = (value, Some(a));
                    }
                }
            }
            best[k][j] = here;
        }
    }
    let worth: Vec<f64> = best.iter().map(|row| row[n].0).collect();
    let count = wish
        .filter(|&k| worth.get(k).is_some_and(|w| w.is_finite()))
        .unwrap_or_else(|| {
            (0..worth.len()).fold(0, |a, k| if worth[k] > worth[a] { k } else { a })
        });
    let (mut j, mut k, mut chosen) = (n, count, Vec::new());
    while j > 0 {
        match best[k][j].1 {
            Some(a) => {
                chosen.push((a, j - 1));
                (j, k) = (a, k - 1);
            }
            None => j -= 1,
        }
    }
    chosen.reverse();
    (chosen, worth)
}

/// What it is worth to see edges `a` and `b` as one film; none if they cannot be one.
fn pair_worth(
    edges: &[Edge],
    a: usize,
    b: usize,
    deficit: &Deficit,
    scale: &Rows,
    inside: [usize; 2],
) -> Option<f64> {
    let (enter, leave) = (&edges[a], &edges[b]);
    let mm = scale.per_mm;
    let (likeness, ratio) = likeness(enter, leave);
    let opposite = loss(enter) > 0.0 && loss(leave) < 0.0;
    if leave.line.at - enter.line.at < 4.0 * mm || !opposite || likeness < 0.45 || ratio < 0.3 {
        return None;
    }
    let weaker = norm(&enter.step).min(norm(&leave.step));
    let mut worth =
        2.0 * enter.strength.min(leave.strength).min(TOP) * likeness * (1.5 * ratio).min(1.0) - 6.0;
    for e in &edges[a + 1..b] {
        let rim = e.line.at - enter.line.at < 2.6 * mm || leave.line.at - e.line.at < 2.6 * mm;
        let allowed = if rim { 0.6 } else { 0.3 };
        worth -=
            0.4 * e.strength.min(TOP) * ((norm(&e.step) / weaker - allowed) / 0.6).clamp(0.0, 1.0);
    }
    // The card right outside must be bare.
    let trim = scale.span(0.8).min((leave.row - enter.row) / 3);
    let within = deficit.quantile(enter.row + trim, leave.row - trim, 0.5);
    let far = scale.span(5.0);
    let near = scale.span(0.4);
    let above = (
        enter
            .row
            .saturating_sub(far)
            .max(inside[0] + scale.span(1.0)),
        enter.row.saturating_sub(near),
    );
    let below = (
        leave.row + near,
        (leave.row + far).min(inside[1].saturating_sub(scale.span(1.0))),
    );
    for (from, to) in [above, below] {
        if to > from + scale.span(1.2) {
            let outside = deficit.quantile(from, to, 0.25);
            if outside > 0.4 * within + 0.03 {
                worth -= (40.0 * (outside - 0.4 * within) / within.max(0.05)).min(60.0);
            }
        }
    }
    Some(worth)
}

/// Finds an edge exactly: where it crosses each zone, and a straight line through that.
fn refine(zones: &[Zone], scale: &Rows, edge: &Edge, noise: &[f64; 6]) -> Line {
    let mut points: Vec<Point> = Vec::new();
    for (ground, from) in [(Ground::White, 0), (Ground::Black, 3)] {
        let step = &edge.step[from..from + 3];
        let noise = &noise[from..from + 3];
        let size = size(step, noise);
        if size < FAINTEST {
            continue;
        }
        // The step is found over a window of 1.5 mm; hand-drawn edges stray by themselves.
        let spread = scale.per_mm * libm::hypot(STRAY_MM, 1.5 / size);
        let direction: [f64; 3] = std::array::from_fn(|c| step[c] / (noise[c] * noise[c]));
        for zone in speaking(zones, ground) {
            if let Some(row) = zone.edge_near(scale, edge, &direction) {
                let weight = zone.width / (9.0 * scale.per_mm) / (spread * spread);
                points.push(Point {
                    u: zone.u - scale.middle,
                    v: scale.step_at(row),
                    weight,
                });
            }
        }
    }
    let line = line::robust(&points, STRAY_MM * scale.per_mm);
    let near = (line.at - edge.line.at).abs() < 1.2 * scale.per_mm;
    if points.is_empty() || !near {
        edge.line
    } else {
        line
    }
}

/// How far a hand-drawn edge strays from a straight line, in mm (assumed).
const STRAY_MM: f64 = 0.15;
impl Zone {
    /// Row (with fraction) of the edge in this zone: the centre of the upper part of its step's peak.
    fn edge_near(&self, scale: &Rows, edge: &Edge, direction: &[f64; 3]) -> Option<f64> {
        let centre = edge
            .row
            .checked_add_signed((edge.line.slope * (self.u - scale.middle)).round() as isize)?;
        let reach = scale.span(1.6);
        if centre < 2 * reach || centre + 2 * reach >= self.steps.len() {
            return None;
        }
        let along: Vec<f64> = (centre - reach..=centre + reach)
            .map(|row| (0..3).map(|c| self.steps[row][c] * direction[c]).sum())
            .collect();
        let peak = along.iter().copied().fold(0.0, f64::max);
        let (mut total, mut moment) = (0.0, 0.0);
        for (k, value) in along.iter().enumerate() {
            let weight = (value - 0.7 * peak).max(0.0);
            total += weight;
            moment += weight * (k as f64 - reach as f64);
        }
        let off = moment / total.max(1e-300);
        (peak > 0.0 && total > 0.0 && off.abs() < 0.8 * reach as f64).then_some(centre as f64 + off)
    }
}

impl Films {
    /// How much brightness varies across the black stripes, in the typical row (distance of the quartiles).
    pub(super) fn unevenness(&self, bottom: f64) -> f64 {
        let (from, to) = (self.scale.row(0.0), self.scale.row(bottom));
        let blacks = speaking(&self.zones, Ground::Black).into_iter();
        f64::from(median(
            &mut blacks
                .flat_map(|z| z.unevenness[from..to].iter().copied())
                .collect::<Vec<_>>(),
        ))
    }

    /// Rows of every zone of a ground between two lines.
    pub(super) fn rows(&self, ground: Ground, [top, bottom]: [Line; 2]) -> Vec<&[[f64; 3]]> {
        let part = |zone: &'_ Zone| {
            let [from, to] = [top, bottom].map(|l| self.scale.row(l.v(zone.u - self.scale.middle)));
            from..to.max(from)
        };
        let zones = self.zones.iter().filter(|z| z.ground == ground);
        let inner = self.zones.iter().any(|z| z.ground == ground && !z.outer);
        zones
            .filter(|z| !(inner && z.outer))
            .map(|z| &z.rows[part(z)])
            .collect()
    }

    /// Median colour of every zone of a ground between two lines, where they are not too close.
    pub(super) fn cells(&self, ground: Ground, lines: [Line; 2]) -> Vec<[f64; 3]> {
        let rows = self
            .rows(ground, lines)
            .into_iter()
            .filter(|rows| rows.len() > 1);
        rows.map(median_colour).collect()
    }
}

/// Median of every channel.
pub(super) fn median_colour(rows: &[[f64; 3]]) -> [f64; 3] {
    std::array::from_fn(|c| {
        f64::from(median(
            &mut rows.iter().map(|r| r[c] as f32).collect::<Vec<_>>(),
        ))
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    const SCALE: Rows = Rows {
        first: 0.0,
        count: 400,
        per_mm: 4.0,
        middle: 0.0,
    };

    /// Edges at rows with steps over white and over black, all equally strong.
    fn edges(steps: &[(usize, f64, f64)]) -> Vec<Edge> {
        steps
            .iter()
            .map(|&(row, w, b)| Edge {
                line: Line {
                    at: row as f64,
                    slope: 0.0,
                },
                strength: 40.0,
                step: [w, w, w, b, b, b],
                row,
            })
            .collect()
    }

    /// Contrast lost between pairs of rows.
    fn deficit(lost: &[(usize, usize, f64)]) -> Deficit {
        let at = |row: usize| {
            lost.iter()
                .find(|l| (l.0..l.1).contains(&row))
                .map_or(0.0, |l| l.2)
        };
        Deficit((0..400).map(at).collect())
    }

    #[test]
    fn edges_pair_up_to_films_with_bare_gaps_between() {
        let edges = edges(&[
            (80, -0.3, 0.1),
            (140, 0.3, -0.1),
            (200, -0.2, 0.1),
            (260, 0.2, -0.1),
        ]);
        let lost = deficit(&[(80, 140, 0.6), (200, 260, 0.45)]);
        let (pairs, worth) = partition(&edges, &lost, &SCALE, [20, 380], None);
        assert_eq!(pairs, [(0, 1), (2, 3)]);
        assert!(worth[2] > worth[1] && worth[1] > worth[0]);
        let (pairs, _) = partition(&edges, &lost, &SCALE, [20, 380], Some(1));
        assert_eq!(pairs.len(), 1);
    }

    #[test]
    fn a_ridge_inside_a_film_does_not_split_it() {
        let mut edges = edges(&[
            (80, -0.3, 0.1),
            (110, -0.03, 0.01),
            (120, 0.03, -0.01),
            (160, 0.3, -0.1),
        ]);
        edges[1].strength = 15.0;
        edges[2].strength = 15.0;
        let (pairs, _) = partition(&edges, &deficit(&[(80, 160, 0.6)]), &SCALE, [20, 380], None);
        assert_eq!(pairs, [(0, 3)]);
    }

    #[test]
    fn nothing_pairs_with_nothing() {
        assert!(
            partition(&[], &deficit(&[]), &SCALE, [20, 380], None)
                .0
                .is_empty()
        );
        let one = edges(&[(80, -0.3, 0.1)]);
        assert!(
            partition(&one, &deficit(&[]), &SCALE, [20, 380], Some(3))
                .0
                .is_empty()
        );
    }

    #[test]
    fn strength_is_compressed_smoothly_and_back() {
        for size in [3.0, 19.9, 20.1, 400.0] {
            assert!((expanded(compressed(size)) - size).abs() < 1e-9 * size);
        }
        assert!((compressed(20.0) - 20.0).abs() < 1e-12);
    }
}
