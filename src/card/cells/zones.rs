//! Which pixels belong to which cell, and their means over small blocks.

use std::ops::Range;

use super::Outline;
use crate::{
    Error, Result,
    card::{Edge, Layout, rectify::Frame},
    scan::{Pixels, Scan},
};

/// How far inside a stripe's edges a cell begins (mm; common practice, no source), and at most which share of its width.
const ACROSS: (f64, f64) = (1.5, 0.25);
/// How far inside a film's edges (mm; a knife's bead and a tape's ridge lie within 2 to 4 mm), and which share of its height.
const ALONG: (f64, f64) = (2.0, 0.25);
/// How far from a film's edge a bare piece begins (mm), and which share of the gap.
const BESIDE: (f64, f64) = (1.0, 0.25);
/// How long a bare piece is at most (mm): short enough to follow shading, long enough to be quiet.
const PIECE: f64 = 8.0;
/// Side of a block (mm): smaller than a grain of dust is long, larger than the noise of neighbouring pixels reaches.
const BLOCK: f64 = 0.25;
/// A stripe's width where the scan's resolution is not known (mm): only to turn the lengths above into stripe widths.
pub(super) const USUAL_STRIPE: f64 = 15.0;

/// What a cell is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) enum Zone {
    /// A film over its stripe.
    Film { film: usize },
    /// A piece of bare stripe in the gap above film `gap` (or below the last film).
    Bare { gap: usize },
}

/// Where a cell lies.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Place {
    pub(super) stripe: usize,
    pub(super) zone: Zone,
    /// Its middle, in units of [`Layout::size`].
    pub(super) centre: [f64; 2],
}

/// The mean of a few pixels.
#[derive(Debug, Clone, Copy)]
pub(super) struct Block {
    /// Its middle on the card.
    pub(super) at: [f64; 2],
    /// In the profile's additive space.
    pub(super) value: [f64; 3],
    /// Pixels at the lower and upper end of each channel.
    pub(super) low: [u32; 3],
    pub(super) high: [u32; 3],
}

/// A cell's blocks.
#[derive(Debug)]
pub(super) struct Cell {
    pub(super) place: Place,
    pub(super) blocks: Vec<Block>,
    /// Pixels of one block.
    pub(super) block_pixels: u32,
    /// Units of [`Layout::size`] that are a mm, or about one.
    pub(super) millimetre: f64,
}

/// The division of a card into cells.
pub(super) struct Zones<'a> {
    pub(super) frame: Frame,
    layout: &'a Layout,
    millimetre: f64,
    /// Stripe by stripe: where it is measured, and its bands from top to bottom.
    stripes: Vec<Lane>,
    /// Empty cells, in the order of the bands.
    places: Vec<Place>,
}

/// One stripe's measured part.
struct Lane {
    from: f64,
    to: f64,
    bands: Vec<Band>,
}

/// One film or one gap on one stripe: its edges `from + slope u`, and the cells that it is cut into.
struct Band {
    from: [f64; 2],
    to: [f64; 2],
    pieces: usize,
    first: usize,
}

impl Band {
    fn edges(&self, u: f64) -> (f64, f64) {
        (self.from[0] + self.from[1] * u, self.to[0] + self.to[1] * u)
    }

    fn cell(&self, u: f64, v: f64) -> Option<usize> {
        let (from, to) = self.edges(u);
        if v <= from || v >= to {
            return None;
        }
        let piece = ((v - from) / (to - from) * self.pieces as f64) as usize;
        Some(self.first + piece.min(self.pieces - 1))
    }
}

impl<'a> Zones<'a> {
    pub(super) fn new(scan: &Scan, layout: &'a Layout) -> Result<Self> {
        check(scan, layout)?;
        let Some(frame) = Frame::of(layout) else {
            return wrong(
                "its four corners do not go round the card. Drag them back to its corners",
            );
        };
        let millimetre = if layout.millimetres {
            1.0
        } else {
            1.0 / USUAL_STRIPE
        };
        let mut zones = Self {
            frame,
            layout,
            millimetre,
            stripes: Vec::new(),
            places: Vec::new(),
        };
        for stripe in 0..layout.stripes.len() {
            let lane = zones.lane(stripe);
            zones.stripes.push(lane);
        }
        Ok(zones)
    }

    fn lane(&mut self, stripe: usize) -> Lane {
        let edges = &self.layout.stripes[stripe];
        let (from, to) = (edges.from, edges.to);
        let inset = self.inset(ACROSS, to - from);
        let bands = (0..=2 * self.layout.films.len())
            .filter_map(|band| self.band(stripe, band, 0.5 * (from + to)));
        let bands = bands.collect();
        Lane {
            from: from + inset,
            to: to - inset,
            bands,
        }
    }

    /// A band (gap 0, film 0, gap 1, ...) and its cells; `None` where no room is left.
    fn band(&mut self, stripe: usize, band: usize, middle: f64) -> Option<Band> {
        let films = &self.layout.films;
        let line = |edge: &Edge| [edge.left, (edge.right - edge.left) / self.layout.size[0]];
        let (index, film) = (band / 2, band % 2 == 1);
        let (from, to) = if film {
            (line(&films[index].top), line(&films[index].bottom))
        } else {
            let from = if index == 0 {
                [0.0; 2]
            } else {
                line(&films[index - 1].bottom)
            };
            (
                from,
                films
                    .get(index)
                    .map_or([self.layout.size[1], 0.0], |film| line(&film.top)),
            )
        };
        let height = to[0] + to[1] * middle - from[0] - from[1] * middle;
        let inset = self.inset(if film { ALONG } else { BESIDE }, height);
        let (from, to) = ([from[0] + inset, from[1]], [to[0] - inset, to[1]]);
        let length = height - 2.0 * inset;
        if length <= 0.0 {
            return None;
        }
        let pieces = if film {
            1
        } else {
            (length / (PIECE * self.millimetre)).ceil().clamp(1.0, 40.0) as usize
        };
        let first = self.places.len();
        let zone = if film {
            Zone::Film { film: index }
        } else {
            Zone::Bare { gap: index }
        };
        self.places.extend((0..pieces).map(|piece| {
            let down = (piece as f64 + 0.5) / pieces as f64;
            let v = from[0] + from[1] * middle + length * down;
            Place {
                stripe,
                zone,
                centre: [middle, v],
            }
        }));
        Some(Band {
            from,
            to,
            pieces,
            first,
        })
    }

    /// Reads every pixel that belongs to a cell, once.
    pub(super) fn read(&self, scan: &Scan) -> Vec<Cell> {
        let side = self.block_side();
        let empty = |&place: &Place| Cell {
            place,
            blocks: Vec::new(),
            block_pixels: (side * side) as u32,
            millimetre: self.millimetre,
        };
        let mut cells: Vec<Cell> = self.places.iter().map(empty).collect();
        let (columns, rows) = self.extent(side, scan);
        let middle = |i: usize| (i as f64 + 0.5) * side as f64;
        for row in rows {
            for column in columns.clone() {
                let at = self.frame.to_card([middle(column), middle(row)]);
                if let Some(index) = self.cell_at(at) {
                    cells[index]
                        .blocks
                        .push(block(scan, column * side, row * side, side, at));
                }
            }
        }
        cells
    }

    /// Every part of a film over a stripe that is measured.
    pub(super) fn outlines(&self) -> impl Iterator<Item = Outline> {
        let bands = self
            .stripes
            .iter()
            .flat_map(|lane| lane.bands.iter().map(move |band| (lane, band)));
        bands.filter_map(|(lane, band)| {
            let Place {
                stripe,
                zone: Zone::Film { film },
                ..
            } = self.places[band.first]
            else {
                return None;
            };
            let ((top_left, bottom_left), (top_right, bottom_right)) =
                (band.edges(lane.from), band.edges(lane.to));
            Some(Outline {
                film,
                stripe,
                ground: self.layout.stripes[stripe].ground,
                corners: [
                    [lane.from, top_left],
                    [lane.to, top_right],
                    [lane.to, bottom_right],
                    [lane.from, bottom_left],
                ],
            })
        })
    }

    /// The cell that a position on the card belongs to.
    fn cell_at(&self, [u, v]: [f64; 2]) -> Option<usize> {
        let lane = self
            .stripes
            .iter()
            .find(|lane| u > lane.from && u < lane.to)?;
        lane.bands.iter().find_map(|band| band.cell(u, v))
    }

    /// Columns and rows of blocks that may show the card.
    fn extent(&self, side: usize, scan: &Scan) -> (Range<usize>, Range<usize>) {
        let span = |axis: usize, end: usize| {
            let places = self.layout.corners.map(|corner| corner[axis] / side as f64);
            let low = places.iter().copied().fold(f64::INFINITY, f64::min).floor();
            let high = places
                .iter()
                .copied()
                .fold(f64::NEG_INFINITY, f64::max)
                .ceil();
            // Casts saturate, so places outside the picture end at its border.
            (low as usize).min(end)..(high as usize).min(end)
        };
        (span(0, scan.width / side), span(1, scan.height / side))
    }

    fn block_side(&self) -> usize {
        let [width, height] = self.layout.size;
        let middle = [0.5 * width, 0.5 * height];
        let a = self.frame.to_scan(middle);
        let b = self.frame.to_scan([middle[0] + self.millimetre, middle[1]]);
        let pixels = libm::hypot(b[0] - a[0], b[1] - a[1]);
        (BLOCK * pixels).ceil().clamp(1.0, 64.0) as usize
    }

    /// A length in mm, or at most a share of what there is, in units of the layout.
    fn inset(&self, (length, share): (f64, f64), of: f64) -> f64 {
        (length * self.millimetre).min(share * of)
    }
}

fn wrong<T>(words: &str) -> Result<T> {
    Err(Error::Layout(format!("{words}.")))
}

/// Refuses outlines that no card has.
fn check(scan: &Scan, layout: &Layout) -> Result<()> {
    let (width, height) = (scan.width as f64, scan.height as f64);
    let near =
        |&[x, y]: &[f64; 2]| x > -width && x < 2.0 * width && y > -height && y < 2.0 * height;
    if !layout.corners.iter().all(near) {
        return wrong(
            "its corners lie far outside the picture. Drag them back to the card’s corners",
        );
    }
    if !stripes_in_order(layout) {
        return wrong("its stripes overlap or reach beyond the card. Drag their edges apart");
    }
    if !films_in_order(layout) {
        return wrong("its films overlap or reach beyond the card. Drag their edges apart");
    }
    Ok(())
}

pub(super) fn stripes_in_order(layout: &Layout) -> bool {
    in_order(
        layout.stripes.iter().map(|s| (s.from, s.to)),
        layout.size[0],
    )
}

pub(super) fn films_in_order(layout: &Layout) -> bool {
    let along = layout.size[1];
    in_order(
        layout.films.iter().map(|f| (f.top.left, f.bottom.left)),
        along,
    ) && in_order(
        layout.films.iter().map(|f| (f.top.right, f.bottom.right)),
        along,
    )
}

/// Whether intervals follow each other from 0 to `end`; rounding and a film that just leaves the card are forgiven.
fn in_order(mut intervals: impl Iterator<Item = (f64, f64)>, end: f64) -> bool {
    let slack = 0.02 * end;
    let mut last = -slack;
    intervals.all(|(from, to)| {
        let sound = from >= last - 1e-9 * end && to > from && to <= end + slack;
        last = to;
        sound
    })
}

/// Codes that count as a channel's ends: the very ends, in a JPEG also their neighbours, and at 16 bits all that an
/// 8-bit scanner's full scale may have become.
fn ends(scan: &Scan) -> (u16, u16) {
    match (scan.origin.lossy, scan.origin.depth) {
        (true, _) => (257, 254 * 257),
        (false, 16) => (0, 65_280),
        (false, _) => (0, 65_535),
    }
}

fn block(scan: &Scan, left: usize, top: usize, side: usize, at: [f64; 2]) -> Block {
    let (floor, ceiling) = ends(scan);
    let mut block = Block {
        at,
        value: [0.0; 3],
        low: [0; 3],
        high: [0; 3],
    };
    let mut add = |code: [u16; 3]| {
        let value = scan.profile.additive_of(code);
        for c in 0..3 {
            block.value[c] += value[c];
            block.low[c] += u32::from(code[c] <= floor);
            block.high[c] += u32::from(code[c] >= ceiling);
        }
    };
    for y in top..top + side {
        let from = 3 * (y * scan.width + left);
        let row = from..from + 3 * side;
        match &scan.pixels {
            Pixels::Eight(values) => {
                values[row]
                    .chunks_exact(3)
                    .for_each(|p| add([p[0], p[1], p[2]].map(|v| 257 * u16::from(v))));
            }
            Pixels::Sixteen(values) => values[row]
                .chunks_exact(3)
                .for_each(|p| add([p[0], p[1], p[2]])),
        }
    }
    let pixels = (side * side) as f64;
    block.value = block.value.map(|v| v / pixels);
    block
}
