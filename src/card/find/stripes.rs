//! From a group of black bars to straight stripes: exact edges, where they begin and end, and stripes that were missed.

use std::{cell::RefCell, collections::HashMap};

use nalgebra::Vector2;

use super::{
    Ruler,
    bars::{Bar, median, quarter},
    line::{self, Line, Point},
    picture::{Picture, brightest},
};
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

    fn place(&self, u: f64, v: f64) -> Vector2<f64> {
        self.origin + self.across * u + self.along * v
    }

    fn of(&self, p: Vector2<f64>) -> (f64, f64) {
        let d = p - self.origin;
        (d.dot(&self.across), d.dot(&self.along))
    }
}

/// Straight stripes in the picture.
#[derive(Debug, Clone)]
pub(super) struct Stripes {
    axes: Axes,
    /// Left and right edge of every black stripe at v = 0, from left to right.
    pub(super) blacks: Vec<[f64; 2]>,
    /// Slope of an edge at u: `slope[0] + slope[1] * u`, so that all edges meet in one vanishing point.
    pub(super) slope: [f64; 2],
    /// Where the stripes begin and end.
    ends: [Line; 2],
    /// Levels of bare black and bare white.
    pub(super) levels: Levels,
    /// Median distance of edge points from the straight edges, in pixels.
    pub(super) roughness: f64,
    /// Total length of edge that was seen, in pixels.
    pub(super) seen: f64,
    /// How many edges were hardly seen at all.
    pub(super) unseen: usize,
    /// How far they were followed beyond the bars, in pixels.
    pub(super) beyond: f64,
}

/// Bare black (brightest channel) and bare white (all three).
#[derive(Debug, Clone, Copy)]
pub(super) struct Levels {
    pub(super) black: f32,
    pub(super) white: [f32; 3],
}

impl Levels {
    /// Brightness that lies a share of the way from black to white.
    pub(super) fn between(&self, share: f32) -> f32 {
        self.black + share * self.contrast()
    }

    pub(super) fn contrast(&self) -> f32 {
        brightest(&self.white) - self.black
    }

    /// Largest deviation of a channel from white, relative to white.
    pub(super) fn off_white(&self, rgb: [f32; 3]) -> f32 {
        let off = |c: usize| (rgb[c] - self.white[c]).abs() / self.white[c].max(0.05);
        off(0).max(off(1)).max(off(2))
    }

    pub(super) fn is_black(&self, rgb: [f32; 3]) -> bool {
        brightest(&rgb) < self.between(0.3)
    }

    fn is_white(&self, rgb: [f32; 3]) -> bool {
        self.off_white(rgb) < 0.15
    }
}

/// What was fitted, by its key.
type Known = HashMap<(Vec<usize>, bool), Option<Stripes>>;

/// Stripes of the groups of one picture, each fitted once: the same group is met again when others have been taken away.
pub(super) struct Fits<'a> {
    picture: &'a Picture,
    ruler: &'a Ruler,
    known: RefCell<Known>,
}

impl<'a> Fits<'a> {
    pub(super) fn new(picture: &'a Picture, ruler: &'a Ruler) -> Self {
        Self {
            picture,
            ruler,
            known: RefCell::default(),
        }
    }

    /// The stripes of a group, and the ruler for them; none if the edges are not straight or not there. `beyond`: whether
    /// they are followed beyond the bars.
    pub(super) fn of(&self, group: &[Bar], beyond: bool) -> Option<(Ruler, Stripes)> {
        let ruler = self.ruler.for_group(group);
        let ids = group.iter().map(|bar| bar.id).collect();
        let mut known = self.known.borrow_mut();
        let stripes = known
            .entry((ids, beyond))
            .or_insert_with(|| Stripes::fit(self.picture, &ruler, group, beyond));
        stripes.clone().map(|stripes| (ruler, stripes))
    }

    /// Groups of bars without dark gaps between white cards: a gap with the same width as the stripes looks like one more
    /// of them, but goes on where they end.
    pub(super) fn without_lid(&self, group: &[Bar]) -> Vec<Vec<Bar>> {
        let whole = || vec![group.to_vec()];
        if group.len() < 3 {
            return whole();
        }
        let Some((ruler, stripes)) = self.of(group, true) else {
            return whole();
        };
        let lids: Vec<[f64; 2]> = (0..stripes.blacks.len())
            .filter(|&i| stripes.is_lid(self.picture, &ruler, i))
            .map(|i| stripes.blacks[i])
            .collect();
        if lids.is_empty() {
            return whole();
        }
        let bars = group.iter().filter(|bar| {
            let u = stripes.across(bar);
            !lids.iter().any(|lid| (lid[0]..lid[1]).contains(&u))
        });
        let at: Vec<f64> = lids.iter().map(|lid| lid[1]).collect();
        stripes.parted(bars, &at)
    }

    /// A group parted where it may be two cards side by side: at white that is wider than the rest, or not white all over.
    /// Empty where it is one.
    pub(super) fn side_by_side(&self, group: &[Bar]) -> Vec<Vec<Bar>> {
        let Some((ruler, stripes)) = self.of(group, true) else {
            return Vec::new();
        };
        let seams = stripes.seams(self.picture, &ruler);
        if seams.is_empty() {
            return Vec::new();
        }
        stripes.parted(group.iter(), &seams)
    }
}

impl Stripes {
    /// Fits stripes to a group of bars. `None` if the edges are not straight or not there.
    fn fit(picture: &Picture, ruler: &Ruler, group: &[Bar], beyond: bool) -> Option<Self> {
        let axes = axes(group);
        let levels = levels(picture, group)?;
        let blacks = columns(&axes, group);
        let ends = group
            .iter()
            .flat_map(|b| [-0.5, 0.5].map(|side| axes.of(b.centre).1 + side * b.length));
        let (top, bottom) = ends.fold((f64::MAX, f64::MIN), |(a, b), v| (a.min(v), b.max(v)));
        let mut stripes = Self {
            axes,
            blacks,
            slope: [0.0; 2],
            ends: [top, bottom].map(|at| Line { at, slope: 0.0 }),
            levels,
            roughness: f64::MAX,
            seen: 0.0,
            unseen: 0,
            beyond: 0.0,
        };
        stripes.trace(picture, ruler)?;
        let extend = |stripes: &mut Self| {
            if beyond {
                stripes.extend(picture, ruler);
            }
        };
        extend(&mut stripes);
        if stripes.add_missed(picture) {
            extend(&mut stripes);
        }
        stripes.beyond = stripes.end(1, 0.0) - bottom + top - stripes.end(0, 0.0);
        stripes.trace(picture, ruler)?;
        stripes.find_ends(picture, ruler);
        if stripes.drop_outer_lid(picture, ruler) {
            stripes.trace(picture, ruler)?;
            stripes.find_ends(picture, ruler);
        }
        Some(stripes)
    }

    /// Where a bar's middle lies across, as measured at v = 0.
    fn across(&self, bar: &Bar) -> f64 {
        let (u, v) = self.axes.of(bar.centre);
        u - (self.slope[0] + self.slope[1] * u) * v
    }

    /// Bars parted at these places across.
    fn parted<'b>(&self, bars: impl Iterator<Item = &'b Bar>, at: &[f64]) -> Vec<Vec<Bar>> {
        let mut parts = vec![Vec::new(); at.len() + 1];
        for bar in bars {
            let u = self.across(bar);
            parts[at.iter().filter(|&&at| at < u).count()].push(bar.clone());
        }
        parts.retain(|part| !part.is_empty());
        parts
    }

    /// Middles of the white between black stripes that may be two cards' margins.
    fn seams(&self, picture: &Picture, ruler: &Ruler) -> Vec<f64> {
        let widest = 1.12 * self.gap();
        let uneven = |&[from, to]: &[f64; 2]| {
            let blur = ruler.pixels(0.8).max(2.0);
            let profile = self.bare_profile(picture, from + blur, to - blur);
            let middle = median(&mut profile.clone());
            let limit = 0.04 * self.levels.contrast();
            let off = profile.iter().filter(|v| (*v - middle).abs() > limit);
            off.count() as f64 > (0.03 * profile.len() as f64).max(1.0)
        };
        let gaps = self.blacks.windows(2).map(|pair| [pair[0][1], pair[1][0]]);
        gaps.filter(|gap| gap[1] - gap[0] > widest || uneven(gap))
            .map(|[from, to]| (from + to) / 2.0)
            .collect()
    }

    fn drop_outer_lid(&mut self, picture: &Picture, ruler: &Ruler) -> bool {
        let before = self.blacks.len();
        while self.blacks.len() > 1 && self.is_lid(picture, ruler, self.blacks.len() - 1) {
            self.blacks.pop();
        }
        while self.blacks.len() > 1 && self.is_lid(picture, ruler, 0) {
            self.blacks.remove(0);
        }
        self.blacks.len() < before
    }

    /// Whether a black stripe goes on at one end, over its whole width, where most others have ended.
    fn is_lid(&self, picture: &Picture, ruler: &Ruler, index: usize) -> bool {
        let others: Vec<usize> = (0..self.blacks.len()).filter(|&i| i != index).collect();
        (0..2).any(|which| {
            let dark = |i: usize| self.dark_beyond(picture, ruler, i, which);
            let rest: Vec<f64> = others.iter().filter_map(|&i| dark(i)).collect();
            let ended = rest.iter().filter(|&&d| d < 0.2).count();
            dark(index).is_some_and(|d| d > 0.9) && !rest.is_empty() && 4 * ended >= 3 * rest.len()
        })
    }

    /// Share of a black stripe's width that is dark from 1.5 to 4 mm beyond one end: past blur and ragged ends, within the
    /// narrowest margin. `None` where that lies beyond the picture.
    fn dark_beyond(
        &self,
        picture: &Picture,
        ruler: &Ruler,
        index: usize,
        which: usize,
    ) -> Option<f64> {
        let outward = if which == 0 { -1.0 } else { 1.0 };
        let limit = self.levels.between(0.35);
        let [from, to] = self.blacks[index];
        let spots = (0..20).map(|k| {
            let u = from + (to - from) * [0.2, 0.4, 0.6, 0.8][k % 4];
            let past = ruler.pixels(1.5 + 0.625 * (k / 4) as f64);
            (u, self.end(which, u) + outward * past)
        });
        let seen: Vec<_> = spots.filter(|&(u, v)| self.inside(picture, u, v)).collect();
        let dark = seen
            .iter()
            .filter(|&&(u, v)| brightest(&self.colour(picture, u, v)) < limit);
        (seen.len() >= 10).then(|| dark.count() as f64 / seen.len() as f64)
    }

    /// Whether most black stripes go on in the dark at one end: the card is cut where they end, and the lid is black.
    pub(super) fn run_off(&self, picture: &Picture, ruler: &Ruler) -> bool {
        let dark = |i: usize, which| {
            self.dark_beyond(picture, ruler, i, which)
                .is_some_and(|d| d > 0.9)
        };
        let count = |which| (0..self.blacks.len()).filter(|&i| dark(i, which)).count();
        (0..2).any(|which| 2 * count(which) > self.blacks.len())
    }

    /// Whether there is only one black stripe and it goes on in the dark: most likely a gap between two cards on a black lid.
    pub(super) fn is_gap(&self, picture: &Picture, ruler: &Ruler) -> bool {
        let dark = |which| self.dark_beyond(picture, ruler, 0, which);
        self.blacks.len() == 1 && (0..2).any(|which| dark(which).is_some_and(|d| d > 0.9))
    }

    /// Median width of the black stripes.
    pub(super) fn width(&self) -> f64 {
        let mut widths: Vec<f32> = self.blacks.iter().map(|b| (b[1] - b[0]) as f32).collect();
        f64::from(median(&mut widths))
    }

    /// Picture position of u (as measured at v = 0) followed along the stripes to v.
    pub(super) fn place(&self, u: f64, v: f64) -> Vector2<f64> {
        self.axes
            .place(u + (self.slope[0] + self.slope[1] * u) * v, v)
    }

    fn colour(&self, picture: &Picture, u: f64, v: f64) -> [f32; 3] {
        let p = self.place(u, v);
        picture.sample(p.x, p.y)
    }

    fn inside(&self, picture: &Picture, u: f64, v: f64) -> bool {
        let p = self.place(u, v);
        picture.holds(p.x, p.y)
    }

    /// Where the stripes begin (0) or end (1), at u.
    pub(super) fn end(&self, which: usize, u: f64) -> f64 {
        self.ends[which].v(u)
    }

    /// Corners of the part between two positions across, in picture pixels, clockwise from the top left of the squared card.
    pub(super) fn corners(&self, left: f64, right: f64) -> [[f64; 2]; 4] {
        [(left, 0), (right, 0), (right, 1), (left, 1)].map(|(u, which)| {
            // The end line is over true u; one more step makes up for the slope of the stripe.
            let v = self.end(which, u);
            let v = self.end(which, u + (self.slope[0] + self.slope[1] * u) * v);
            let p = self.place(u, v);
            [p.x, p.y]
        })
    }

    /// Finds every stripe edge to a part of a pixel along its whole length, and the slope they share.
    fn trace(&mut self, picture: &Picture, ruler: &Ruler) -> Option<()> {
        for reach in [ruler.pixels(2.2), ruler.pixels(1.2)] {
            let width = self.width();
            let reach = reach.max(3.5).min(0.45 * width);
            let mut edges = Vec::new();
            for (i, black) in self.blacks.iter().enumerate() {
                for side in 0..2 {
                    let mut points = self.edge_points(picture, black[side], side, reach);
                    // A bar in the rows of a film may reach out to where the film ends, beyond the stripe.
                    if self.few(&points) {
                        points = self.edge_points(picture, black[side], side, 0.45 * width);
                    }
                    edges.push((i, side, points));
                }
            }
            self.fit_slope(&mut edges);
            for (i, side, points) in &edges {
                if let Some(u) = self.edge_at(points, ruler) {
                    self.blacks[*i][*side] = u;
                }
            }
            self.drop_unseen(&edges);
            let mut off: Vec<f32> = Vec::new();
            for (i, side, points) in &edges {
                if let Some(black) = self.blacks.get(*i) {
                    off.extend(
                        points
                            .iter()
                            .map(|p| self.distance(*p, black[*side]).abs() as f32),
                    );
                }
            }
            self.unseen = edges.iter().filter(|edge| self.few(&edge.2)).count();
            self.seen = off.len() as f64 * STRIDE;
            self.roughness = f64::from(median(&mut off));
        }
        (self.roughness.is_finite() && !self.blacks.is_empty()).then_some(())
    }

    /// Whether so few points were seen of an edge that they say nothing of it.
    fn few(&self, points: &[[f64; 2]]) -> bool {
        let rows = (self.end(1, self.middle()) - self.end(0, self.middle())) / STRIDE;
        (points.len() as f64) < FEW * rows
    }

    /// How far a point (u, v) lies right of an edge that is at `u0` for v = 0.
    fn distance(&self, [u, v]: [f64; 2], u0: f64) -> f64 {
        u - u0 - (self.slope[0] + self.slope[1] * u0) * v
    }

    /// Points (u, v) where the brightness crosses the middle between dark and bright, near the edge at `u0`.
    fn edge_points(&self, picture: &Picture, u0: f64, side: usize, reach: f64) -> Vec<[f64; 2]> {
        let outward = if side == 0 { -1.0 } else { 1.0 };
        let steps = (2.0 * reach / 0.5) as usize + 1;
        let (top, bottom) = (self.end(0, u0), self.end(1, u0));
        let mut points = Vec::new();
        let mut line = vec![0.0_f32; steps];
        let mut v = top + 1.0;
        while v < bottom - 1.0 {
            let u = u0 + (self.slope[0] + self.slope[1] * u0) * v;
            for (k, value) in line.iter_mut().enumerate() {
                let p = self.axes.place(u + outward * (k as f64 * 0.5 - reach), v);
                *value = picture.brightness_at(p.x, p.y);
            }
            if let Some(k) = crossing(&line, 0.35 * self.levels.contrast()) {
                points.push([u + outward * (k * 0.5 - reach), v]);
            }
            v += STRIDE;
        }
        points
    }

    /// The slope that all edges share, robustly, by turns with their positions.
    fn fit_slope(&mut self, edges: &mut [(usize, usize, Vec<[f64; 2]>)]) {
        let total: usize = edges.iter().map(|e| e.2.len()).sum();
        if total < 6 {
            return;
        }
        for _ in 0..4 {
            let mut samples = Vec::with_capacity(total);
            for (i, side, points) in edges.iter() {
                let start = self.blacks[*i][*side];
                let mut off: Vec<f32> = points
                    .iter()
                    .map(|p| self.distance(*p, start) as f32)
                    .collect();
                let u0 = start
                    + if off.is_empty() {
                        0.0
                    } else {
                        f64::from(densest(&mut off, 2.0))
                    };
                let mean = points.iter().map(|p| p[1]).sum::<f64>() / points.len().max(1) as f64;
                samples.extend(
                    points
                        .iter()
                        .map(|p| (u0, p[1], mean, self.distance(*p, u0))),
                );
            }
            // Distances grow with v by the slope's error e0 + e1 u, each edge about its own mean.
            let wide = self.blacks.len() >= 2;
            let (mut a, mut b) = (nalgebra::Matrix2::zeros(), Vector2::zeros());
            let middle = samples.iter().map(|s| s.0).sum::<f64>() / total as f64;
            for &(u, v, mean, d) in &samples {
                let weight = 1.0 / (1.0 + d * d).powi(2);
                let row = Vector2::new(1.0, u - middle) * (v - mean);
                a += row * row.transpose() * weight;
                b += row * d * weight;
            }
            let e1 = if wide && a.determinant() > 1e-9 * a.norm_squared() {
                a.try_inverse().map(|m| m * b)
            } else {
                None
            };
            let e = e1.unwrap_or_else(|| Vector2::new(b[0] / a[(0, 0)].max(1e-9), 0.0));
            self.slope[0] += e[0] - e[1] * middle;
            self.slope[1] += e[1];
            for (i, side, points) in edges.iter() {
                let start = self.blacks[*i][*side];
                let mut off: Vec<f32> = points
                    .iter()
                    .map(|p| self.distance(*p, start) as f32)
                    .collect();
                if !off.is_empty() {
                    self.blacks[*i][*side] += f64::from(densest(&mut off, 2.0));
                }
            }
        }
    }

    /// Position of an edge from its points: the middle of their densest cluster.
    fn edge_at(&self, points: &[[f64; 2]], ruler: &Ruler) -> Option<f64> {
        if points.len() < 4 {
            return None;
        }
        // With the slope known, every point gives the edge's position at v = 0.
        let mut at: Vec<f32> = points
            .iter()
            .map(|p| ((p[0] - self.slope[0] * p[1]) / (1.0 + self.slope[1] * p[1])) as f32)
            .collect();
        Some(f64::from(densest(
            &mut at,
            ruler.pixels(0.5).max(1.0) as f32,
        )))
    }

    /// Drops stripes with far fewer edge points than the others: they are something else that stood in line.
    fn drop_unseen(&mut self, edges: &[(usize, usize, Vec<[f64; 2]>)]) {
        let count = |i: usize| {
            edges
                .iter()
                .filter(|e| e.0 == i)
                .map(|e| e.2.len())
                .sum::<usize>()
        };
        let counts: Vec<usize> = (0..self.blacks.len()).map(count).collect();
        let most = counts.iter().copied().max().unwrap_or(0);
        if counts.iter().any(|&c| 4 * c < most) {
            let mut keep = counts.iter().map(|&c| 4 * c >= most);
            self.blacks.retain(|_| keep.next().unwrap_or(false));
        }
    }

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

    /// Follows the stripes beyond the bars that were seen: bare rows within the reach of one film belong to the card.
    fn extend(&mut self, picture: &Picture, ruler: &Ruler) {
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

    /// Row half-way along the stripes.
    pub(super) fn middle_row(&self) -> f64 {
        (self.end(0, self.middle()) + self.end(1, self.middle())) / 2.0
    }

    fn middle(&self) -> f64 {
        (self.blacks[0][0] + self.blacks[self.blacks.len() - 1][1]) / 2.0
    }

    /// Brightness along u over the bare rows, from `left` in steps of one pixel; NaN beyond the picture.
    fn bare_profile(&self, picture: &Picture, left: f64, right: f64) -> Vec<f32> {
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
    fn add_missed(&mut self, picture: &Picture) -> bool {
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

    /// Median width of the white stripes between black ones; that of the black stripes if there is but one.
    pub(super) fn gap(&self) -> f64 {
        let mut gaps: Vec<f32> = self
            .blacks
            .windows(2)
            .map(|p| (p[1][0] - p[0][1]) as f32)
            .collect();
        if gaps.is_empty() {
            self.width()
        } else {
            f64::from(median(&mut gaps))
        }
    }

    /// How far white reaches beyond the outermost black stripes, left and right, in the rows that are bare beside them; at
    /// most one stripe width.
    pub(super) fn whites(&self, picture: &Picture) -> [f64; 2] {
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
    fn find_ends(&mut self, picture: &Picture, ruler: &Ruler) {
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

/// Share of the stripes that have to look bare in a bare row: all of three, but one may be spoilt of four.
const MOST_OF: f64 = 0.75;
/// Share of an edge that has to be seen.
const FEW: f64 = 0.1;
/// Pixels between two looks at an edge.
const STRIDE: f64 = 1.5;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Row {
    Bare,
    Void,
    Other,
    Beyond,
}

/// Direction and origin of a group: the bars' mean direction, weighted by length, then turned a little so that pieces
/// of one stripe fall into line.
fn axes(group: &[Bar]) -> Axes {
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
fn columns(axes: &Axes, group: &[Bar]) -> Vec<[f64; 2]> {
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

/// Bare black and white from the bars' insides and what lies right beside them.
fn levels(picture: &Picture, group: &[Bar]) -> Option<Levels> {
    let mut darks: Vec<f32> = group.iter().map(|b| b.dark).collect();
    darks.sort_unstable_by(f32::total_cmp);
    let mut beside: Vec<[f32; 3]> = Vec::new();
    for bar in group {
        let rows = (bar.length / 4.0).ceil().clamp(3.0, 60.0);
        for side in [-1.0, 1.0] {
            for k in 0..rows as usize {
                let v = ((k as f64 + 0.5) / rows - 0.5) * bar.length;
                let p = bar.centre
                    + bar.across * side * (bar.width / 2.0 + (0.15 * bar.width).max(3.0))
                    + bar.along() * v;
                if picture.holds(p.x, p.y) {
                    beside.push(picture.sample(p.x, p.y));
                }
            }
        }
    }
    // Card white is the common colour among the brightest there, measured on the darkest channel so that paint counts as dark.
    sort_by_number(&mut beside, |seen| f64::from(least(seen)));
    let top = beside.get(beside.len() * 3 / 4..beside.len() * 97 / 100)?;
    if top.is_empty() {
        return None;
    }
    let white = std::array::from_fn(|c| median(&mut top.iter().map(|p| p[c]).collect::<Vec<_>>()));
    let levels = Levels {
        black: darks[darks.len() / 3],
        white,
    };
    (levels.contrast() > LEAST_CONTRAST * brightest(&levels.white)).then_some(levels)
}

/// Least contrast between black and white, in encoded numbers relative to white: shaded paper is no black stripe.
const LEAST_CONTRAST: f32 = 0.35;

fn least(rgb: &[f32; 3]) -> f32 {
    rgb[0].min(rgb[1]).min(rgb[2])
}

/// Place where a line of brightness, dark first, crosses the middle between its ends; none if the step is smaller than
/// asked or crossed more than once.
fn crossing(line: &[f32], step: f32) -> Option<f64> {
    let part = (line.len() / 4).max(2);
    let low = median(&mut line[..part].to_vec());
    let high = median(&mut line[line.len() - part..].to_vec());
    if high - low < step {
        return None;
    }
    let middle = (low + high) / 2.0;
    let mut ups = line
        .windows(2)
        .enumerate()
        .filter(|(_, w)| w[0] < middle && w[1] >= middle);
    let (k, w) = ups.next()?;
    let only = ups.next().is_none();
    only.then(|| k as f64 + f64::from((middle - w[0]) / (w[1] - w[0])))
}

/// Median of the values in the window of the given width that holds most of them. Sorts in place.
pub(super) fn densest(values: &mut [f32], window: f32) -> f32 {
    values.sort_unstable_by(f32::total_cmp);
    let (mut best, mut end) = ((0, 0), 0);
    for start in 0..values.len() {
        while end < values.len() && values[end] <= values[start] + window {
            end += 1;
        }
        if end - start > best.1 - best.0 {
            best = (start, end);
        }
    }
    median(&mut values[best.0..best.1])
}

/// Runs [from, to) of values that pass a test.
pub(super) fn runs(values: &[f32], is: impl Fn(f32) -> bool) -> Vec<[usize; 2]> {
    let mut runs = Vec::new();
    let mut start = None;
    for (i, &v) in values.iter().chain(&[f32::NAN]).enumerate() {
        match (is(v), start) {
            (true, None) => start = Some(i),
            (false, Some(s)) => {
                runs.push([s, i]);
                start = None;
            }
            _ => {}
        }
    }
    runs
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_crossing_lies_where_the_step_is_half_done() {
        let line = [0.1, 0.1, 0.1, 0.1, 0.3, 0.9, 0.9, 0.9, 0.9, 0.9];
        let at = crossing(&line, 0.5).unwrap();
        assert!((at - (4.0 + 0.2 / 0.6)).abs() < 1e-6);
        assert!(crossing(&line, 0.9).is_none());
        // A hair beside the edge makes it ambiguous.
        let hair = [0.1, 0.1, 0.1, 0.9, 0.3, 0.9, 0.9, 0.9, 0.9, 0.9];
        assert!(crossing(&hair, 0.5).is_none());
    }

    #[test]
    fn the_densest_window_wins_over_outliers() {
        let mut values = [9.0, 1.0, 1.1, 0.9, 5.0, 1.05, 8.0];
        assert!((densest(&mut values, 0.5) - 1.025).abs() < 1e-6);
    }

    #[test]
    fn runs_are_half_open() {
        assert_eq!(runs(&[1.0, 0.0, 1.0, 1.0], |v| v > 0.5), [[0, 1], [2, 4]]);
        assert!(runs(&[], |_| true).is_empty());
    }
}
