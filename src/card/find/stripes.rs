//! From a group of black bars to straight stripes: exact edges, where they begin and end, and stripes that were missed.

mod axes;
mod fits;
mod levels;
mod lid;
mod rows;

use nalgebra::Vector2;

use self::axes::{Axes, axes, columns};
pub(super) use self::{fits::Fits, levels::Levels};
use super::{
    Ruler,
    bars::{Bar, median},
    line::Line,
    picture::{self, Picture},
};

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

impl Stripes {
    /// Fits stripes to a group of bars. `None` if the edges are not straight or not there.
    fn fit(picture: &Picture, ruler: &Ruler, group: &[Bar], beyond: bool) -> Option<Self> {
        let axes = axes(group);
        let levels = levels::levels(picture, group)?;
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
        stripes.draw_in(picture, ruler);
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

    /// Draws the card's outer edges in from where dark films end to where the black does in bare rows. A dark film ends more plainly
    /// on paper than the black does under it, and films drawn to one length end as straight as a stripe.
    fn draw_in(&mut self, picture: &Picture, ruler: &Ruler) {
        let width = self.width();
        let [top, bottom] = [0, 1].map(|k| self.end(k, self.middle()));
        let rows = (0..48).map(|k| top + (bottom - top) * (f64::from(k) + 0.5) / 48.0);
        let bare: Vec<f64> = rows.filter(|&v| self.is_bare(picture, v)).collect();
        let half = self.levels.between(0.5);
        for (i, side) in [(0, 0), (self.blacks.len() - 1, 1)] {
            let u0 = self.blacks[i][side];
            // Mostly black ends there in bare rows too, which is quickly seen.
            let inside = ruler.pixels(if side == 0 { 1.5 } else { -1.5 });
            let dark =
                |v: &&f64| picture::brightest(&self.colour(picture, u0 + inside, **v)) < half;
            if 2 * bare.iter().filter(dark).count() >= bare.len() {
                continue;
            }
            // The wider look may end on a dark lid, where it sees no step.
            let bare = [0.45, 0.25].into_iter().find_map(|share| {
                let mut points = self.edge_points(picture, u0, side, share * width);
                points.retain(|&[_, v]| self.is_bare(picture, v));
                (!self.few(&points)).then_some(points)
            });
            let Some(points) = bare else { continue };
            let Some(u) = self.edge_at(&points, ruler) else {
                continue;
            };
            let near = points
                .iter()
                .filter(|p| self.distance(**p, u).abs() < ruler.pixels(0.5).max(1.0));
            let inward = if side == 0 { u - u0 } else { u0 - u };
            if inward > ruler.pixels(1.0) && 3 * near.count() > 2 * points.len() {
                self.blacks[i][side] = u;
            }
        }
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

    /// Row half-way along the stripes.
    pub(super) fn middle_row(&self) -> f64 {
        (self.end(0, self.middle()) + self.end(1, self.middle())) / 2.0
    }

    fn middle(&self) -> f64 {
        (self.blacks[0][0] + self.blacks[self.blacks.len() - 1][1]) / 2.0
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
}

/// Share of an edge that has to be seen.
const FEW: f64 = 0.1;
/// Pixels between two looks at an edge.
const STRIDE: f64 = 1.5;

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
