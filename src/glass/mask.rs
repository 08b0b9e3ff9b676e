//! Where films lie: a mask over the picture, eight bits a place, with brush, outline, growing by colour and soft edges.
//!
//! A value is the share of the film's build, of 255: at a soft edge the film runs out thinner and thinner, as a wiped glaze
//! does.

/// A mask over a copy of the picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mask {
    /// Places across.
    pub width: usize,
    /// Places down.
    pub height: usize,
    /// Shares, rows from the top.
    pub values: Vec<u8>,
}

/// Whether places come to an area or leave it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// They come to it.
    Add,
    /// They leave it.
    Remove,
}

/// A part of a mask: left, top, and the first column and row beyond.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Part {
    /// First column.
    pub left: usize,
    /// First row.
    pub top: usize,
    /// Column after the last.
    pub right: usize,
    /// Row after the last.
    pub bottom: usize,
}

impl Part {
    /// The smallest part that holds both.
    pub fn with(self, other: Self) -> Self {
        Self {
            left: self.left.min(other.left),
            top: self.top.min(other.top),
            right: self.right.max(other.right),
            bottom: self.bottom.max(other.bottom),
        }
    }
}

/// A smooth step from 0 to 1.
fn smooth(t: f64) -> f64 {
    let t = t.clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

fn share(value: f64) -> u8 {
    (255.0 * value.clamp(0.0, 1.0) + 0.5) as u8
}

impl Mask {
    /// A mask of one value.
    pub fn new(width: usize, height: usize, value: u8) -> Self {
        Self {
            width,
            height,
            values: vec![value; width * height],
        }
    }

    fn part(&self, low: [f64; 2], high: [f64; 2]) -> Option<Part> {
        let begin = |v: f64| v.floor().max(0.0) as usize;
        let end = |v: f64, most: usize| ((v.ceil() + 1.0).max(0.0) as usize).min(most);
        let part = Part {
            left: begin(low[0]),
            top: begin(low[1]),
            right: end(high[0], self.width),
            bottom: end(high[1], self.height),
        };
        (part.left < part.right && part.top < part.bottom).then_some(part)
    }

    fn join(&mut self, at: usize, share: u8, way: Way) {
        let value = &mut self.values[at];
        *value = match way {
            Way::Add => (*value).max(share),
            Way::Remove => (*value).min(255 - share),
        };
    }

    /// Draws a brush of this radius from one place to another. `soft` is the share of the radius over which its edge runs out,
    /// 0 to 1; `strength` how much of the film's build its middle lays, 0 to 1. Says what part may have changed.
    pub fn brush(
        &mut self,
        [from, to]: [[f64; 2]; 2],
        radius: f64,
        soft: f64,
        strength: f64,
        way: Way,
    ) -> Option<Part> {
        let radius = radius.max(0.5);
        let low = [0, 1].map(|i| from[i].min(to[i]) - radius - 1.0);
        let high = [0, 1].map(|i| from[i].max(to[i]) + radius + 1.0);
        let part = self.part(low, high)?;
        let along = [to[0] - from[0], to[1] - from[1]];
        let length = along[0] * along[0] + along[1] * along[1];
        // A hard edge still takes a place to run out, or it would be jagged.
        let edge = (soft.clamp(0.0, 1.0) * radius).max(1.0);
        for y in part.top..part.bottom {
            for x in part.left..part.right {
                let off = [x as f64 + 0.5 - from[0], y as f64 + 0.5 - from[1]];
                let way_along = if length > 0.0 {
                    ((off[0] * along[0] + off[1] * along[1]) / length).clamp(0.0, 1.0)
                } else {
                    0.0
                };
                let (dx, dy) = (off[0] - way_along * along[0], off[1] - way_along * along[1]);
                let distance = (dx * dx + dy * dy).sqrt();
                let covered = smooth((radius + 0.5 - distance) / edge) * strength.clamp(0.0, 1.0);
                if covered > 0.0 {
                    self.join(y * self.width + x, share(covered), way);
                }
            }
        }
        Some(part)
    }

    /// Adds or removes the inside of an outline (even-odd), its edge run out over `soft` places to both sides.
    pub fn outline(&mut self, points: &[[f64; 2]], soft: f64, way: Way) -> Option<Part> {
        /// Rows and columns that a place is divided in, so that edges are not jagged.
        const FINE: usize = 4;
        if points.len() < 3 {
            return None;
        }
        let bound = |axis: usize, high: bool| {
            points.iter().map(|p| p[axis]).fold(
                if high {
                    f64::NEG_INFINITY
                } else {
                    f64::INFINITY
                },
                if high { f64::max } else { f64::min },
            )
        };
        let margin = 3.0 * soft.max(0.0) + 1.0;
        let part = self.part(
            [bound(0, false) - margin, bound(1, false) - margin],
            [bound(0, true) + margin, bound(1, true) + margin],
        )?;
        let (across, down) = (part.right - part.left, part.bottom - part.top);
        let mut covered = vec![0.0_f32; across * down];
        let mut crossings = Vec::new();
        for line in 0..down * FINE {
            let y = part.top as f64 + (line as f64 + 0.5) / FINE as f64;
            crossings.clear();
            for (i, a) in points.iter().enumerate() {
                let b = &points[(i + 1) % points.len()];
                if (a[1] <= y) != (b[1] <= y) {
                    crossings.push(a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
                }
            }
            crossings.sort_unstable_by(f64::total_cmp);
            let row = &mut covered[line / FINE * across..][..across];
            for pair in crossings.as_chunks::<2>().0 {
                let from = (pair[0] - part.left as f64).clamp(0.0, across as f64);
                let to = (pair[1] - part.left as f64).clamp(0.0, across as f64);
                let (first, last) = (from as usize, (to.ceil() as usize).min(across));
                for (x, value) in row.iter_mut().enumerate().take(last).skip(first) {
                    let inside = (to.min(x as f64 + 1.0) - from.max(x as f64)).max(0.0);
                    *value += (inside / FINE as f64) as f32;
                }
            }
        }
        blur(&mut covered, across, down, soft);
        for y in 0..down {
            for x in 0..across {
                let value = share(f64::from(covered[y * across + x]));
                self.join((part.top + y) * self.width + part.left + x, value, way);
            }
        }
        Some(part)
    }

    /// Adds or removes the places around one that are as like it in colour as `reach` (CIE 1976 difference of `labs`), grown
    /// from it; beyond, the edge runs out over the share `soft` of the reach.
    pub fn grow(
        &mut self,
        labs: &[[f32; 3]],
        from: [usize; 2],
        reach: f64,
        soft: f64,
        way: Way,
    ) -> Option<Part> {
        let [x, y] = from;
        if x >= self.width || y >= self.height || labs.len() != self.values.len() {
            return None;
        }
        let seed = {
            // The mean of the places around: one grain of noise is no colour.
            let mut sum = [0.0_f32; 3];
            let mut count = 0.0;
            for row in y.saturating_sub(1)..=(y + 1).min(self.height - 1) {
                for column in x.saturating_sub(1)..=(x + 1).min(self.width - 1) {
                    (0..3).for_each(|i| sum[i] += labs[row * self.width + column][i]);
                    count += 1.0;
                }
            }
            sum.map(|v| v / count)
        };
        let edge = (reach * soft.clamp(0.0, 1.0)).max(1e-6);
        let alike = |at: usize| {
            let d: f32 = (0..3).map(|i| (labs[at][i] - seed[i]).powi(2)).sum();
            ((reach + edge - f64::from(d.sqrt())) / edge).clamp(0.0, 1.0)
        };
        let mut seen = vec![false; self.values.len()];
        let mut open = vec![y * self.width + x];
        seen[y * self.width + x] = true;
        let mut part = Part {
            left: x,
            top: y,
            right: x + 1,
            bottom: y + 1,
        };
        while let Some(at) = open.pop() {
            let covered = alike(at);
            let (x, y) = (at % self.width, at / self.width);
            if covered <= 0.0 && at != from[1] * self.width + from[0] {
                continue;
            }
            self.join(at, share(covered), way);
            part = part.with(Part {
                left: x,
                top: y,
                right: x + 1,
                bottom: y + 1,
            });
            let mut go = |next: usize| {
                if !seen[next] {
                    seen[next] = true;
                    open.push(next);
                }
            };
            if x > 0 {
                go(at - 1);
            }
            if x + 1 < self.width {
                go(at + 1);
            }
            if y > 0 {
                go(at - self.width);
            }
            if y + 1 < self.height {
                go(at + self.width);
            }
        }
        Some(part)
    }

    /// Runs all edges out over so many places.
    pub fn soften(&mut self, by: f64) {
        let mut values: Vec<f32> = self.values.iter().map(|v| f32::from(*v) / 255.0).collect();
        blur(&mut values, self.width, self.height, by);
        for (value, soft) in self.values.iter_mut().zip(values) {
            *value = share(f64::from(soft));
        }
    }

    /// What was in is out, and the other way round.
    pub fn turn_over(&mut self) {
        self.values.iter_mut().for_each(|v| *v = 255 - *v);
    }

    /// The same on another number of places.
    pub fn sized(self, width: usize, height: usize) -> Self {
        if (self.width, self.height) == (width, height) {
            return self;
        }
        let across = self.width as f64 / width as f64;
        let down = self.height as f64 / height as f64;
        let mut sized = Self::new(width, height, 0);
        for (i, value) in sized.values.iter_mut().enumerate() {
            let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
            *value = (self.at(x * across, y * down) + 0.5) as u8;
        }
        sized
    }

    /// The share at a place between others, of 255.
    #[inline]
    pub fn at(&self, x: f64, y: f64) -> f64 {
        let (x, y) = (
            (x - 0.5).clamp(0.0, (self.width - 1) as f64),
            (y - 0.5).clamp(0.0, (self.height - 1) as f64),
        );
        let (left, top) = (x as usize, y as usize);
        let (right, below) = (
            (left + 1).min(self.width - 1),
            (top + 1).min(self.height - 1),
        );
        let (fx, fy) = (x - left as f64, y - top as f64);
        let value = |x: usize, y: usize| f64::from(self.values[y * self.width + x]);
        let upper = value(left, top) + (value(right, top) - value(left, top)) * fx;
        let lower = value(left, below) + (value(right, below) - value(left, below)) * fx;
        upper + (lower - upper) * fy
    }
}

/// Three running means one after the other, which come near a normal blur of this reach.
fn blur(values: &mut [f32], across: usize, down: usize, reach: f64) {
    // Beyond the whole picture there is nothing more to run out into.
    let half = ((reach * 0.6).round() as usize).min(across.max(down));
    if half == 0 {
        return;
    }
    let mut line = vec![0.0_f32; across.max(down)];
    for _ in 0..3 {
        for y in 0..down {
            let row = &mut values[y * across..][..across];
            line[..across].copy_from_slice(row);
            running(&line[..across], half, |x, mean| row[x] = mean);
        }
        for x in 0..across {
            for y in 0..down {
                line[y] = values[y * across + x];
            }
            running(&line[..down], half, |y, mean| values[y * across + x] = mean);
        }
    }
}

fn running(line: &[f32], half: usize, mut put: impl FnMut(usize, f32)) {
    let last = line.len() - 1;
    // Beyond an end its own value goes on.
    let at = |i: isize| f64::from(line[i.clamp(0, last as isize) as usize]);
    let half = half as isize;
    let mut sum: f64 = (-half..=half).map(at).sum();
    let share = 1.0 / (2 * half + 1) as f64;
    for i in 0..line.len() as isize {
        put(i as usize, (sum * share) as f32);
        sum += at(i + half + 1) - at(i - half);
    }
}

/// A film that runs out from one place to another: all of its build before the first, none beyond the second.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize, serde::Deserialize)]
pub struct Run {
    /// Where it begins to thin, as shares of the picture's width and height.
    pub from: [f64; 2],
    /// Where nothing of it is left.
    pub to: [f64; 2],
}

impl Run {
    /// The share of the build at a place, 0 to 1; `size` is the picture's, in the places' own units.
    #[inline]
    pub fn at(&self, x: f64, y: f64, size: [f64; 2]) -> f64 {
        let from = [self.from[0] * size[0], self.from[1] * size[1]];
        let along = [
            self.to[0] * size[0] - from[0],
            self.to[1] * size[1] - from[1],
        ];
        let length = along[0] * along[0] + along[1] * along[1];
        if length == 0.0 {
            return 1.0;
        }
        let way = ((x - from[0]) * along[0] + (y - from[1]) * along[1]) / length;
        1.0 - way.clamp(0.0, 1.0)
    }
}

/// What a part of a mask holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    part: Part,
    /// Its shares, rows from the top.
    pub values: Vec<u8>,
}

impl Mask {
    /// The part of it that is unlike another mask of its size, or unlike an empty one; nothing where none is.
    pub fn unlike(&self, other: Option<&Mask>) -> Option<Piece> {
        let empty = vec![0; self.width];
        let mut part: Option<Part> = None;
        for y in 0..self.height {
            let row = self.row(y);
            let of = other.map_or(&empty[..], |other| other.row(y));
            let differ = |x: &usize| row[*x] != of[*x];
            if let (true, Some(left), Some(right)) = (
                row != of,
                (0..self.width).find(differ),
                (0..self.width).rfind(differ),
            ) {
                let here = Part {
                    left,
                    top: y,
                    right: right + 1,
                    bottom: y + 1,
                };
                part = Some(part.map_or(here, |part| part.with(here)));
            }
        }
        let part = part?;
        let rows = (part.top..part.bottom).flat_map(|y| &self.row(y)[part.left..part.right]);
        Some(Piece {
            part,
            values: rows.copied().collect(),
        })
    }

    /// Puts a part back as it was.
    pub fn put(&mut self, Piece { part, values }: &Piece) {
        let across = part.right - part.left;
        for (y, row) in (part.top..part.bottom).zip(values.chunks(across)) {
            self.values[y * self.width + part.left..][..across].copy_from_slice(row);
        }
    }

    fn row(&self, y: usize) -> &[u8] {
        &self.values[y * self.width..][..self.width]
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn place() -> impl Strategy<Value = [f64; 2]> {
        [-10.0..70.0_f64, -10.0..50.0_f64]
    }

    fn start() -> impl Strategy<Value = Mask> {
        prop::collection::vec(any::<u8>(), 60 * 40).prop_map(|values| Mask {
            width: 60,
            height: 40,
            values,
        })
    }

    /// Everything that the painter can do to a mask once.
    fn change(mask: &mut Mask, what: usize, at: [[f64; 2]; 3], by: f64, way: Way) -> Option<Part> {
        match what {
            0 => mask.brush([at[0], at[1]], 12.0 * by, by, 1.0, way),
            1 => mask.outline(&at, 6.0 * by, way),
            _ => {
                let labs: Vec<[f32; 3]> =
                    (0..60 * 40).map(|i| [(i % 60) as f32, 0.0, 0.0]).collect();
                mask.grow(
                    &labs,
                    [at[0][0].abs() as usize, at[0][1].abs() as usize],
                    10.0 * by,
                    by,
                    way,
                )
            }
        }
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(64))]

        /// Adding never takes away, removing never adds, twice is once, and nothing beyond the part that is told changes.
        #[test]
        fn a_change_goes_one_way_within_its_part(
            before in start(), what in 0..3_usize, at in [place(), place(), place()], by in 0.0..1.0_f64, add in any::<bool>(),
        ) {
            let way = if add { Way::Add } else { Way::Remove };
            let mut after = before.clone();
            let part = change(&mut after, what, at, by, way);
            for (i, (b, a)) in before.values.iter().zip(&after.values).enumerate() {
                prop_assert!((a >= b) == add || a == b);
                let (x, y) = (i % 60, i / 60);
                let inside = part.is_some_and(|p| (p.left..p.right).contains(&x) && (p.top..p.bottom).contains(&y));
                prop_assert!(inside || a == b);
            }
            let mut twice = after.clone();
            change(&mut twice, what, at, by, way);
            prop_assert_eq!(&twice, &after);
        }

        /// The part that is unlike another mask, put onto that one, makes it the same.
        #[test]
        fn what_is_unlike_makes_another_the_same(one in start(), places in prop::collection::vec((0..60 * 40_usize, any::<u8>()), 0..4)) {
            let mut other = one.clone();
            places.iter().for_each(|(at, value)| other.values[*at] = *value);
            let piece = one.unlike(Some(&other));
            prop_assert_eq!(piece.is_none(), one == other);
            if let Some(piece) = piece {
                other.put(&piece);
                prop_assert_eq!(&other, &one);
            }
            let mut from_nothing = Mask::new(60, 40, 0);
            if let Some(piece) = one.unlike(None) {
                from_nothing.put(&piece);
            }
            prop_assert_eq!(from_nothing, one);
        }

        /// Numbers that no hand draws: without end, none at all, far outside.
        #[test]
        fn any_number_is_drawn_or_passed_over(
            before in start(), at in [[any::<f64>(), any::<f64>()], [any::<f64>(), any::<f64>()], [any::<f64>(), any::<f64>()]],
            by in [any::<f64>(), any::<f64>(), any::<f64>()], special in prop::sample::select(vec![f64::NAN, f64::INFINITY, -1.0, 1e300]),
        ) {
            for by in [by, [special; 3]] {
                for at in [at, [[special, 3.0], [5.0, special], [special; 2]]] {
                    let mut mask = before.clone();
                    mask.brush([at[0], at[1]], by[0], by[1], by[2], Way::Add);
                    mask.outline(&at, by[0], Way::Remove);
                    let labs = vec![[0.0; 3]; mask.values.len()];
                    mask.grow(&labs, at[0].map(|v| v as usize), by[0], by[1], Way::Add);
                    mask.soften(by[2]);
                    prop_assert_eq!(mask.values.len(), before.values.len());
                }
            }
        }

        /// Softening keeps the amount of film away from the border and makes no place thicker than the thickest near.
        #[test]
        fn softening_spreads_and_adds_nothing(x in 25..35_usize, y in 18..22_usize, by in 1.0..4.0_f64) {
            let mut mask = Mask::new(60, 40, 0);
            mask.brush([[x as f64, y as f64]; 2], 4.0, 0.0, 1.0, Way::Add);
            let sum = |mask: &Mask| mask.values.iter().map(|v| f64::from(*v)).sum::<f64>();
            let before = sum(&mask);
            mask.soften(by);
            prop_assert!((sum(&mask) / before - 1.0).abs() < 0.05);
        }

        /// A run is 1 before its first place, 0 beyond its last, straight between, and the same across it.
        #[test]
        fn a_run_is_straight(from in [0.0..1.0_f64, 0.0..1.0_f64], to in [0.0..1.0_f64, 0.0..1.0_f64], way in -1.0..2.0_f64, across in -50.0..50.0_f64) {
            let size = [600.0, 400.0];
            let a = [from[0] * size[0], from[1] * size[1]];
            let d = [to[0] * size[0] - a[0], to[1] * size[1] - a[1]];
            prop_assume!(d[0].hypot(d[1]) > 5.0);
            let run = Run { from, to };
            let length = d[0].hypot(d[1]);
            let at = [a[0] + way * d[0] - across * d[1] / length, a[1] + way * d[1] + across * d[0] / length];
            prop_assert!((run.at(at[0], at[1], size) - (1.0 - way.clamp(0.0, 1.0))).abs() < 1e-6);
        }
    }

    #[test]
    fn a_hard_brush_covers_its_circle() {
        let mut mask = Mask::new(100, 100, 0);
        mask.brush([[50.0, 50.0]; 2], 30.0, 0.0, 1.0, Way::Add);
        let area = mask
            .values
            .iter()
            .map(|v| f64::from(*v) / 255.0)
            .sum::<f64>();
        // The circle's own area.
        assert!(
            (area / (std::f64::consts::PI * 900.0) - 1.0).abs() < 0.01,
            "{area}"
        );
        assert_eq!(mask.at(50.0, 50.0), 255.0);
        assert_eq!(mask.at(90.0, 50.0), 0.0);
    }

    #[test]
    fn an_outline_has_the_area_of_its_polygon_and_softens_about_its_edge() {
        let points = [[10.3, 12.7], [80.1, 20.4], [55.5, 88.8]];
        // The shoelace formula.
        let double: f64 = (0..3)
            .map(|i| {
                let (a, b): ([f64; 2], [f64; 2]) = (points[i], points[(i + 1) % 3]);
                a[0] * b[1] - a[1] * b[0]
            })
            .sum();
        for soft in [0.0, 4.0] {
            let mut mask = Mask::new(100, 100, 0);
            mask.outline(&points, soft, Way::Add);
            let area = mask
                .values
                .iter()
                .map(|v| f64::from(*v) / 255.0)
                .sum::<f64>();
            assert!(
                (area / (0.5 * double.abs()) - 1.0).abs() < 0.01,
                "{soft}: {area}"
            );
        }
    }

    #[test]
    fn growing_stops_at_another_colour_and_does_not_leap() {
        // Three fields side by side: the third is like the first but not joined to it.
        let labs: Vec<[f32; 3]> = (0..90 * 20)
            .map(|i| {
                if (30..60).contains(&(i % 90)) {
                    [70.0, 0.0, 0.0]
                } else {
                    [40.0, 5.0, 5.0]
                }
            })
            .collect();
        let mut mask = Mask::new(90, 20, 0);
        mask.grow(&labs, [5, 5], 6.0, 0.5, Way::Add);
        let full = |x: usize| (0..20).all(|y| mask.values[y * 90 + x] == 255);
        let bare = |x: usize| (0..20).all(|y| mask.values[y * 90 + x] == 0);
        assert!((0..30).all(full) && (30..90).all(bare));
        // A wide reach takes all.
        mask.grow(&labs, [5, 5], 40.0, 0.0, Way::Add);
        assert!(mask.values.iter().all(|v| *v == 255));
    }
}
