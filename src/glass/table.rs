//! Films over the painting's colours as tables, and pixels through them.
//!
//! A [`Table`] holds encoded screen values at its nodes; between nodes the value is found by the tetrahedron that the colour
//! lies in. A [`Family`] holds one table for each of a few shares of the build, from none to all of it, and pixels whose
//! share lies between two are found between their two tables. How many shares is chosen by how far off the middle between
//! two would be.

use std::sync::OnceLock;

use crate::{
    Result,
    colour::{self, ScreenSpace},
    film::Response,
    glass::grounds::{Grounds, PADDED, SIDE},
    spectrum::{self, BANDS},
};

/// Encoded R, G, B and grey of one node, not cut to the screen's gamut: 0 to 1 is what a screen can show.
pub(super) type Node = [f32; 4];

/// Films over the grounds of every node.
#[derive(Debug, Clone, PartialEq)]
pub struct Table {
    nodes: Vec<Node>,
}

/// Films' answer on the bands in single precision, filled up.
struct Films {
    a: [f32; PADDED],
    b: [f32; PADDED],
    c: [f32; PADDED],
}

impl Films {
    fn of(responses: &[Response; BANDS]) -> Self {
        let mut films = Self {
            a: [0.0; PADDED],
            b: [0.0; PADDED],
            c: [0.0; PADDED],
        };
        for (band, at) in responses.iter().enumerate() {
            films.a[band] = at.a as f32;
            films.b[band] = at.b as f32;
            films.c[band] = at.c as f32;
        }
        films
    }
}

/// From XYZ to the values of a node.
struct Coder {
    rows: [[f32; 3]; 3],
    curve: &'static [f32],
}

/// Steps of the curve's table along the root of the linear value, to 1.5.
const CURVE_STEPS: usize = 1536;

impl Coder {
    fn new(space: ScreenSpace) -> Self {
        static CURVE: OnceLock<Vec<f32>> = OnceLock::new();
        let curve = CURVE.get_or_init(|| {
            (0..=CURVE_STEPS + 1)
                .map(|i| {
                    let root = 1.5 * i as f64 / CURVE_STEPS as f64;
                    colour::encode_srgb(root * root) as f32
                })
                .collect()
        });
        Self {
            rows: space.from_xyz().map(|row| row.map(|v| v as f32)),
            curve,
        }
    }

    /// sRGB's curve, the same below 0 with the sign changed; to 2.25.
    #[inline]
    fn encode(&self, linear: f32) -> f32 {
        let root = linear.abs().sqrt();
        let at = smaller(root * (CURVE_STEPS as f32 / 1.5), CURVE_STEPS as f32);
        let step = at as usize;
        let (low, high) = (self.curve[step], self.curve[step + 1]);
        (low + (high - low) * (at - step as f32)).copysign(linear)
    }

    #[inline]
    fn node(&self, [x, y, z]: [f32; 3]) -> Node {
        let [r, g, b] = self
            .rows
            .map(|row| self.encode(row[0] * x + row[1] * y + row[2] * z));
        [r, g, b, self.encode(y)]
    }
}

#[inline]
fn dot(weights: &[f32; PADDED], values: &[f32; PADDED]) -> f32 {
    // Eight sums side by side, which become vectors.
    let mut sums = [0.0_f32; 8];
    for chunk in 0..PADDED / 8 {
        for lane in 0..8 {
            sums[lane] += weights[8 * chunk + lane] * values[8 * chunk + lane];
        }
    }
    ((sums[0] + sums[4]) + (sums[2] + sums[6])) + ((sums[1] + sums[5]) + (sums[3] + sums[7]))
}

impl Table {
    /// The painting without films.
    pub fn bare(grounds: &Grounds, space: ScreenSpace) -> Self {
        let coder = Coder::new(space);
        Self {
            nodes: grounds.bare.iter().map(|xyz| coder.node(*xyz)).collect(),
        }
    }

    /// Films over every node.
    pub fn under(responses: &[Response; BANDS], grounds: &Grounds, space: ScreenSpace) -> Self {
        let coder = Coder::new(space);
        let films = Films::of(responses);
        let weights: [[f32; PADDED]; 3] = spectrum::to_xyz_rows().map(|row| {
            let mut padded = [0.0; PADDED];
            for band in 0..BANDS {
                padded[band] = row[band] as f32;
            }
            padded
        });
        let nodes = grounds.internal.iter().map(|rho| {
            let mut seen = [0.0_f32; PADDED];
            for band in 0..PADDED {
                seen[band] =
                    films.a[band] + films.b[band] * rho[band] / (1.0 - films.c[band] * rho[band]);
            }
            coder.node([
                dot(&weights[0], &seen),
                dot(&weights[1], &seen),
                dot(&weights[2], &seen),
            ])
        });
        Self {
            nodes: nodes.collect(),
        }
    }

    /// Encoded R, G, B and grey of a pixel, not cut to the gamut.
    #[inline(always)]
    pub fn at(&self, pixel: &impl Pixel) -> Node {
        between(&self.nodes, &pixel.spot())
    }
}

/// The larger of two numbers. WebAssembly has no instruction for what `f32::max` does where one of them is none, and calls a function.
#[inline(always)]
fn larger(a: f32, b: f32) -> f32 {
    if a > b { a } else { b }
}

/// The smaller of two numbers, as [`larger`].
#[inline(always)]
fn smaller(a: f32, b: f32) -> f32 {
    if a < b { a } else { b }
}

const RED: usize = SIDE * SIDE;
const GREEN: usize = SIDE;
const BLUE: usize = 1;
const ALL: usize = RED + GREEN + BLUE;
/// From the first corner to the second and the third: the channel that goes furthest is taken first, the one that goes least last. By
/// whether red goes as far as green (1), green as blue (2) and red as blue (4); two of the eight cannot be.
const TO: [[usize; 2]; 8] = [
    [BLUE, ALL - RED],
    [BLUE, ALL - GREEN],
    [GREEN, ALL - RED],
    [BLUE, ALL - GREEN],
    [GREEN, ALL - RED],
    [RED, ALL - GREEN],
    [GREEN, ALL - BLUE],
    [RED, ALL - BLUE],
];

/// Where a colour lies among the nodes: the four corners of its tetrahedron (the usual six around the grey diagonal), and how much
/// of each.
#[derive(Debug, Clone, Copy)]
pub struct Spot {
    first: usize,
    /// From the first corner to the second and the third; to the fourth it is all three channels.
    to: [usize; 2],
    weights: [f32; 4],
}

/// What is looked up in tables: codes, or where they lie.
pub trait Pixel {
    /// Where it lies.
    fn spot(&self) -> Spot;
}

impl Pixel for [u16; 3] {
    #[inline(always)]
    fn spot(&self) -> Spot {
        const STEPS: u32 = SIDE as u32 - 1;
        const SPREAD: u32 = 16 - STEPS.trailing_zeros();
        // A code is its node in the upper bits and the way to the next in the lower sixteen.
        let place = self.map(|c| u32::from(c) * STEPS + (u32::from(c) >> SPREAD));
        let [r, g, b] = place.map(|p| (p >> 16) as usize);
        let [fr, fg, fb] = place.map(|p| (p & 0xffff) as f32 * (1.0 / 65535.0));
        // Looked up, as no processor guesses which of them it will be.
        let order = usize::from(fr >= fg) + 2 * usize::from(fg >= fb) + 4 * usize::from(fr >= fb);
        let high = larger(larger(fr, fg), fb);
        let low = smaller(smaller(fr, fg), fb);
        let middle = (fr + fg + fb) - (high + low);
        Spot {
            first: r * RED + g * GREEN + b,
            to: TO[order],
            weights: [1.0 - high, high - middle, middle - low, low],
        }
    }
}

/// A [`Spot`] in few bytes, for pixels that are drawn again and again: finding it takes longer than looking it up.
#[derive(Debug, Clone, Copy)]
pub struct Place {
    first: u16,
    to: [u16; 2],
    /// Of the second to the fourth corner, of 65535.
    weights: [u16; 3],
}

impl Place {
    /// Of codes.
    #[inline]
    pub fn of(code: [u16; 3]) -> Self {
        let Spot { first, to, weights } = code.spot();
        Self {
            first: first as u16,
            to: to.map(|v| v as u16),
            weights: [1, 2, 3].map(|i| (weights[i] * 65535.0 + 0.5) as u16),
        }
    }
}

impl Pixel for Place {
    #[inline(always)]
    fn spot(&self) -> Spot {
        let [w1, w2, w3] = self.weights.map(|w| f32::from(w) * (1.0 / 65535.0));
        Spot {
            first: usize::from(self.first),
            to: self.to.map(usize::from),
            weights: [1.0 - w1 - w2 - w3, w1, w2, w3],
        }
    }
}

#[inline(always)]
fn between(nodes: &[Node], spot: &Spot) -> Node {
    let nodes = &nodes[spot.first..spot.first + ALL + 1];
    let [n1, n2] = spot.to.map(|to| &nodes[to]);
    let (n0, n3) = (&nodes[0], &nodes[ALL]);
    let [w0, w1, w2, w3] = spot.weights;
    std::array::from_fn(|i| n0[i] * w0 + n1[i] * w1 + n2[i] * w2 + n3[i] * w3)
}

/// Tables for shares of the build from none to all of it.
#[derive(Debug, Clone)]
pub struct Family {
    /// In order of their shares, the bare painting first.
    tables: Vec<Table>,
    /// For every share (of 255), its lower table and how far it is to the next.
    places: Box<[(u8, f32); 256]>,
}

/// Steps of the share at the finest.
const FINEST: usize = 64;

/// At how many shares of the build there are tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Shared {
    /// At the full build only: the film has one build wherever it lies.
    No,
    /// At few, while a film is pulled.
    Rough,
    /// At as many as are needed.
    Fine,
}

impl Shared {
    /// Largest error of the middle between two shares, in encoded values (ours: fine is about 0.4 CIEDE2000).
    fn error(self) -> f32 {
        match self {
            Self::No => f32::INFINITY,
            Self::Rough => 0.02,
            Self::Fine => 0.005,
        }
    }
}

/// Films at a share of their builds: what every table is made from.
pub type Responses<'a> = dyn FnMut(f64) -> Result<[Response; BANDS]> + 'a;

impl Family {
    /// Films over the grounds.
    ///
    /// # Errors
    /// Those of `films`.
    pub fn new(
        grounds: &Grounds,
        space: ScreenSpace,
        shared: Shared,
        films: &mut Responses<'_>,
    ) -> Result<Self> {
        let shares = shares(grounds, space, shared, films)?;
        let mut tables = vec![Table::bare(grounds, space)];
        for (_, responses) in &shares {
            tables.push(Table::under(responses, grounds, space));
        }
        let steps: Vec<usize> = std::iter::once(0)
            .chain(shares.iter().map(|(step, _)| *step))
            .collect();
        Ok(Self::of(tables, &steps))
    }

    /// Shares and the answers of the films at them: what another worker needs for the same family.
    pub fn of_responses(
        grounds: &Grounds,
        space: ScreenSpace,
        shares: &[(usize, [Response; BANDS])],
    ) -> Self {
        let mut tables = vec![Table::bare(grounds, space)];
        tables.extend(
            shares
                .iter()
                .map(|(_, responses)| Table::under(responses, grounds, space)),
        );
        let steps: Vec<usize> = std::iter::once(0)
            .chain(shares.iter().map(|(step, _)| *step))
            .collect();
        Self::of(tables, &steps)
    }

    /// The painting without films alone.
    pub fn bare_only(grounds: &Grounds, space: ScreenSpace) -> Self {
        Self::of(vec![Table::bare(grounds, space)], &[0])
    }

    fn of(tables: Vec<Table>, steps: &[usize]) -> Self {
        let mut places = Box::new([(0_u8, 0.0_f32); 256]);
        for (share, place) in places.iter_mut().enumerate() {
            let at = share as f64 / 255.0 * FINEST as f64;
            let lower = steps
                .iter()
                .rposition(|&step| step as f64 <= at)
                .unwrap_or(0)
                .min(steps.len().saturating_sub(2));
            let (from, to) = (
                steps[lower] as f64,
                steps.get(lower + 1).map_or(FINEST as f64, |&s| s as f64),
            );
            let way = ((at - from) / (to - from)) as f32;
            // The upper table by itself, where it is just that.
            *place = if way >= 1.0 && lower + 1 < tables.len() {
                (lower as u8 + 1, 0.0)
            } else {
                (lower as u8, way)
            };
        }
        Self { tables, places }
    }

    /// How many tables.
    pub fn len(&self) -> usize {
        self.tables.len()
    }

    /// Never: there is always the bare painting.
    pub fn is_empty(&self) -> bool {
        self.tables.is_empty()
    }

    /// The painting without films.
    pub fn bare(&self) -> &Table {
        &self.tables[0]
    }

    /// The films at their full build.
    pub fn full(&self) -> &Table {
        self.tables.last().expect("there is always the bare table")
    }

    /// Encoded R, G, B and grey of one pixel with a share of the build, of 255.
    #[inline]
    pub fn at(&self, pixel: &impl Pixel, share: u8) -> Node {
        let spot = pixel.spot();
        let (lower, way) = self.places[usize::from(share)];
        let lower = usize::from(lower);
        let low = between(&self.tables[lower].nodes, &spot);
        if way == 0.0 || lower + 1 >= self.tables.len() {
            return low;
        }
        let high = between(&self.tables[lower + 1].nodes, &spot);
        std::array::from_fn(|i| low[i] + (high[i] - low[i]) * way)
    }
}

/// Shares (of [`FINEST`]) at which tables are needed, with the films' answers there; the last is the full build.
///
/// # Errors
/// Those of `films`.
pub fn shares(
    grounds: &Grounds,
    space: ScreenSpace,
    shared: Shared,
    films: &mut Responses<'_>,
) -> Result<Vec<(usize, [Response; BANDS])>> {
    let full = films(1.0)?;
    if shared == Shared::No {
        return Ok(vec![(FINEST, full)]);
    }
    let probes = Probes::of(grounds, space);
    let mut chosen = vec![(FINEST, full)];
    let mut open = vec![(0, probes.bare(), FINEST, probes.under(&full))];
    while let Some((from, at_from, to, at_to)) = open.pop() {
        if to - from < 2 {
            continue;
        }
        let middle = (from + to) / 2;
        let responses = films(middle as f64 / FINEST as f64)?;
        let seen = probes.under(&responses);
        let way = (middle - from) as f32 / (to - from) as f32;
        let off = at_from
            .iter()
            .zip(&at_to)
            .zip(&seen)
            .flat_map(|((a, b), s)| {
                (0..3).map(move |i| {
                    // What the screen does not show does not count.
                    let between = a[i] + (b[i] - a[i]) * way;
                    (between.clamp(0.0, 1.0) - s[i].clamp(0.0, 1.0)).abs()
                })
            })
            .fold(0.0_f32, f32::max);
        if off > shared.error() {
            chosen.push((middle, responses));
            open.push((from, at_from, middle, seen.clone()));
            open.push((middle, seen, to, at_to));
        }
    }
    crate::order::sort_by_number(&mut chosen, |(step, _)| *step as f64);
    Ok(chosen)
}

/// A few nodes, to try shares on.
struct Probes {
    grounds: Grounds,
    space: ScreenSpace,
}

impl Probes {
    fn of(grounds: &Grounds, space: ScreenSpace) -> Self {
        Self {
            grounds: grounds.few(),
            space,
        }
    }

    fn bare(&self) -> Vec<Node> {
        Table::bare(&self.grounds, self.space).nodes
    }

    fn under(&self, responses: &[Response; BANDS]) -> Vec<Node> {
        Table::under(responses, &self.grounds, self.space).nodes
    }
}
