//! Which pixels belong to which cell, and their means over small blocks.

use crate::{
    Error, Result,
    card::{Edge, Layout, rectify::Frame},
    scan::Scan,
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
}

impl<'a> Zones<'a> {
    pub(super) fn new(scan: &Scan, layout: &'a Layout) -> Result<Self> {
        let wrong = |words: &str| Err(Error::Layout(words.into()));
        let Some(frame) = Frame::of(layout) else {
            return wrong(
                "its four corners do not go round the card. Drag them back to its corners",
            );
        };
        let (width, height) = (scan.width as f64, scan.height as f64);
        let near =
            |&[x, y]: &[f64; 2]| x > -width && x < 2.0 * width && y > -height && y < 2.0 * height;
        if !layout.corners.iter().all(near) {
            return wrong(
                "its corners lie far outside the picture. Drag them back to the card's corners",
            );
        }
        let in_order = |stripes: &[(f64, f64)], end: f64| {
            let mut last = -1e-6 * end;
            stripes.iter().all(|&(from, to)| {
                let sound = from >= last - 1e-6 * end && to > from && to <= end * (1.0 + 1e-6);
                last = to;
                sound
            })
        };
        let stripes: Vec<_> = layout.stripes.iter().map(|s| (s.from, s.to)).collect();
        if !in_order(&stripes, layout.size[0]) {
            return wrong("its stripes overlap or reach beyond the card. Drag their edges apart");
        }
        for side in [|edge: &Edge| edge.left, |edge: &Edge| edge.right] {
            let films: Vec<_> = layout
                .films
                .iter()
                .map(|f| (side(&f.top), side(&f.bottom)))
                .collect();
            if !in_order(&films, layout.size[1]) {
                return wrong("its films overlap or reach beyond the card. Drag their edges apart");
            }
        }
        let millimetre = if layout.millimetres {
            1.0
        } else {
            1.0 / USUAL_STRIPE
        };
        Ok(Self {
            frame,
            layout,
            millimetre,
        })
    }

    /// Reads every pixel that belongs to a cell, once.
    pub(super) fn read(&self, scan: &Scan) -> Vec<Cell> {
        let side = self.block_side();
        let cells_of = self.cells(side);
        let mut cells = cells_of.cells;
        let (columns, rows) = (scan.width / side, scan.height / side);
        let (left, right, top, bottom) = self.extent(side, columns, rows);
        for row in top..bottom {
            for column in left..right {
                let middle = |i: usize| (i as f64 + 0.5) * side as f64;
                let at = self.frame.to_card([middle(column), middle(row)]);
                if let Some(index) = self.cell_at(at, &cells_of.first) {
                    cells[index]
                        .blocks
                        .push(block(scan, column * side, row * side, side, at));
                }
            }
        }
        cells
    }

    /// Blocks of the scan that may show the card.
    fn extent(&self, side: usize, columns: usize, rows: usize) -> (usize, usize, usize, usize) {
        let span = |axis: usize, end: usize| {
            let places = self.layout.corners.map(|corner| corner[axis] / side as f64);
            let low = places.iter().copied().fold(f64::INFINITY, f64::min).floor();
            let high = places
                .iter()
                .copied()
                .fold(f64::NEG_INFINITY, f64::max)
                .ceil();
            // Casts saturate, so places outside the picture end at its border.
            ((low as usize).min(end), (high as usize).min(end))
        };
        let ((left, right), (top, bottom)) = (span(0, columns), span(1, rows));
        (left, right, top, bottom)
    }

    fn block_side(&self) -> usize {
        let [width, height] = self.layout.size;
        let middle = [0.5 * width, 0.5 * height];
        let a = self.frame.to_scan(middle);
        let b = self.frame.to_scan([middle[0] + self.millimetre, middle[1]]);
        let pixels = libm::hypot(b[0] - a[0], b[1] - a[1]);
        (BLOCK * pixels).round().clamp(1.0, 64.0) as usize
    }

    /// A length in mm, or at most a share of what there is, in units of the layout.
    fn inset(&self, (length, share): (f64, f64), of: f64) -> f64 {
        (length * self.millimetre).min(share * of)
    }

    /// Empty cells, and the place of the first cell of every stripe and band (bands: gap 0, film 0, gap 1, ...).
    fn cells(&self, side: usize) -> Division {
        let mut cells = Vec::new();
        let mut first = Vec::new();
        for (stripe, edges) in self.layout.stripes.iter().enumerate() {
            let u = 0.5 * (edges.from + edges.to);
            for band in 0..=2 * self.layout.films.len() {
                first.push(cells.len());
                let Some((from, to)) = self.band(band, u) else {
                    continue;
                };
                let pieces = self.pieces(band, to - from);
                for piece in 0..pieces {
                    let v = from + (to - from) * (piece as f64 + 0.5) / pieces as f64;
                    let zone = if band % 2 == 0 {
                        Zone::Bare { gap: band / 2 }
                    } else {
                        Zone::Film { film: band / 2 }
                    };
                    cells.push(Cell {
                        place: Place {
                            stripe,
                            zone,
                            centre: [u, v],
                        },
                        blocks: Vec::new(),
                        block_pixels: (side * side) as u32,
                        millimetre: self.millimetre,
                    });
                }
            }
        }
        Division { cells, first }
    }

    /// Pieces that a band is cut into.
    fn pieces(&self, band: usize, length: f64) -> usize {
        if band % 2 == 1 {
            1
        } else {
            (length / (PIECE * self.millimetre)).ceil().clamp(1.0, 40.0) as usize
        }
    }

    /// From where to where a band is measured at a position across the card; `None` where no room is left.
    fn band(&self, band: usize, u: f64) -> Option<(f64, f64)> {
        let films = &self.layout.films;
        let at = |edge: &Edge| edge.left + (edge.right - edge.left) * u / self.layout.size[0];
        let (from, to) = if band % 2 == 1 {
            (at(&films[band / 2].top), at(&films[band / 2].bottom))
        } else {
            let gap = band / 2;
            let from = if gap == 0 {
                0.0
            } else {
                at(&films[gap - 1].bottom)
            };
            let to = films
                .get(gap)
                .map_or(self.layout.size[1], |film| at(&film.top));
            (from, to)
        };
        let inset = self.inset(if band % 2 == 1 { ALONG } else { BESIDE }, to - from);
        (to - from > 0.0).then_some((from + inset, to - inset))
    }

    /// Corners on the card, clockwise from the top left, of the part of a film over a stripe that is measured; `None` where
    /// no room is left.
    pub(super) fn outline(&self, film: usize, stripe: usize) -> Option<[[f64; 2]; 4]> {
        let stripe = self.layout.stripes.get(stripe)?;
        let inset = self.inset(ACROSS, stripe.to - stripe.from);
        let (left, right) = (stripe.from + inset, stripe.to - inset);
        let (top_left, bottom_left) = self.band(2 * film + 1, left)?;
        let (top_right, bottom_right) = self.band(2 * film + 1, right)?;
        Some([
            [left, top_left],
            [right, top_right],
            [right, bottom_right],
            [left, bottom_left],
        ])
    }

    /// The cell that a position on the card belongs to.
    fn cell_at(&self, [u, v]: [f64; 2], first: &[usize]) -> Option<usize> {
        let bands = 2 * self.layout.films.len() + 1;
        let stripe = self.layout.stripes.iter().position(|stripe| {
            let inset = self.inset(ACROSS, stripe.to - stripe.from);
            u > stripe.from + inset && u < stripe.to - inset
        })?;
        let (band, (from, to)) = (0..bands)
            .filter_map(|band| Some((band, self.band(band, u)?)))
            .find(|&(_, (from, to))| v > from && v < to)?;
        let edges = &self.layout.stripes[stripe];
        let (from_middle, to_middle) = self.band(band, 0.5 * (edges.from + edges.to))?;
        let pieces = self.pieces(band, to_middle - from_middle);
        let piece = (((v - from) / (to - from)) * pieces as f64) as usize;
        Some(first[stripe * bands + band] + piece.min(pieces - 1))
    }
}

struct Division {
    cells: Vec<Cell>,
    first: Vec<usize>,
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
    let mut sum = [0.0; 3];
    let (mut low, mut high) = ([0; 3], [0; 3]);
    for y in top..top + side {
        for x in left..left + side {
            let code = scan.code(x, y);
            let value = scan.profile.additive_of(code);
            for c in 0..3 {
                sum[c] += value[c];
                low[c] += u32::from(code[c] <= floor);
                high[c] += u32::from(code[c] >= ceiling);
            }
        }
    }
    let pixels = (side * side) as f64;
    Block {
        at,
        value: sum.map(|v| v / pixels),
        low,
        high,
    }
}
