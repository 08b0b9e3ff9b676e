//! Finding hand-made drawdown cards in a scan, without marks.
//!
//! Straight strong edges ([`segments`]) pair up to black bars ([`bars`]); bars in line or side by side are taken for one
//! card, once for each of the two directions the stripes may run; the stripes are made exact ([`stripes`]), films
//! are looked for across them ([`films`]), and of readings that lie over each other the more plausible one stays
//! ([`judge`]). All of it happens on a reduced picture; lengths follow the scan's resolution where that is
//! believable, and otherwise the width of the stripes.

mod bars;
mod doubts;
mod films;
mod inside;
mod judge;
mod picture;
mod reading;
mod segments;
mod stripes;

use picture::Picture;
use reading::Reading;

use super::{Layout, rectify::Frame};
use crate::{Error, Result, scan::Scan};

/// Lengths in the reduced picture.
#[derive(Debug, Clone, Copy)]
struct Ruler {
    /// Picture pixels per millimetre.
    per_mm: f64,
    /// Whether that follows from the scan's resolution; otherwise it is a guess that only sets the size of filters.
    known: bool,
}

/// Stripes a person can paint or print and a scanner can show, in mm, with some room.
const STRIPE_MM: [f64; 2] = [4.0, 46.0];
/// Resolutions that scanners write. 72 and 96 are what programs write when they know nothing.
const DPI: [f64; 2] = [97.0, 2500.0];
/// Longest side that a scanner at home has, with room (A3 is 420 mm).
const LONGEST_MM: f64 = 460.0;
/// Taken for the picture's longest side where nothing is known: between a small card cropped and a full page.
const LIKELY_MM: f64 = 220.0;

impl Ruler {
    fn of(scan: &Scan, picture: &Picture) -> Self {
        let longest = scan.width.max(scan.height) as f64;
        let believable =
            |dpi: &f64| (DPI[0]..DPI[1]).contains(dpi) && longest / dpi * 25.4 < LONGEST_MM;
        match scan.origin.dpi.filter(believable) {
            Some(dpi) => Self {
                per_mm: dpi / 25.4 / picture.scale,
                known: true,
            },
            None => Self {
                per_mm: longest / picture.scale / LIKELY_MM,
                known: false,
            },
        }
    }

    /// The ruler for a card whose stripes are so wide: no longer believed if they would not be stripes.
    fn for_stripes(self, width: f64) -> Self {
        let mm = width / self.per_mm;
        if self.known && (STRIPE_MM[0]..STRIPE_MM[1]).contains(&mm) {
            return self;
        }
        Self {
            per_mm: self.per_mm.clamp(width / 40.0, width / 5.0),
            known: false,
        }
    }

    fn pixels(&self, mm: f64) -> f64 {
        mm * self.per_mm
    }
}

/// Finds all cards in a scan, in reading order.
///
/// A layout without films means stripes with nothing painted across them. Fails with [`Error::NoCard`] if there are no
/// stripes either.
pub fn find(scan: &Scan) -> Result<Vec<Layout>> {
    find_with(scan, None)
}

/// [`find`], but if `films` is given, with exactly so many films on every card where that is possible.
pub fn find_with(scan: &Scan, films: Option<usize>) -> Result<Vec<Layout>> {
    if scan.width < 16 || scan.height < 16 {
        return Err(Error::NoCard);
    }
    let picture = Picture::reduced(scan);
    let ruler = Ruler::of(scan, &picture);
    let segments = segments::segments(&picture);
    let bars = bars::bars(&picture, &segments);
    let groups = bars::groups(&picture, &ruler, &bars);
    let read = |group: &Vec<bars::Bar>, joined| {
        judge::Candidate::of(&picture, &ruler, &segments, group, joined, films)
    };
    let mut candidates: Vec<_> = groups
        .iter()
        .take(MOST_GROUPS)
        .filter_map(|g| read(g, false))
        .collect();
    let chains = bars::joined(&ruler, &groups[..groups.len().min(MOST_GROUPS)]);
    candidates.extend(chains.iter().filter_map(|g| read(g, true)));
    let mut chosen = judge::choose(candidates);
    if chosen.is_empty() {
        return Err(Error::NoCard);
    }
    Ok(chosen.iter_mut().map(|c| layout(&picture, c)).collect())
}

/// Finds stripes and films between four corners given by the painter: in pixels of the upright scan, clockwise from the
/// top left of the squared card, so that stripes run from the first two corners to the last two. The corners stay as
/// they are. If `films` is given, exactly so many films are looked for.
///
/// Fails with [`Error::Layout`] if the corners are no convex quadrangle in the picture, and with [`Error::NoCard`] if no
/// black and white stripes run between them.
pub fn within(scan: &Scan, corners: [[f64; 2]; 4], films: Option<usize>) -> Result<Layout> {
    let (width, height) = (scan.width as f64, scan.height as f64);
    let outside = |p: &[f64; 2]| !(p[0] >= 0.0 && p[1] >= 0.0 && p[0] <= width && p[1] <= height);
    if corners.iter().any(outside) {
        return Err(Error::Layout(
            "a corner lies outside the picture; move it inside.".into(),
        ));
    }
    let crossed =
        || Error::Layout("its corners must go clockwise around the card; move them so.".into());
    let picture = Picture::reduced(scan);
    let small = corners.map(|p| p.map(|x| x / picture.scale));
    let size = judge::sides(&small);
    let frame = Frame::new(&small, size).ok_or_else(crossed)?;
    let (blacks, levels) = inside::stripes(&picture, &frame, size).ok_or(Error::NoCard)?;
    let mean = blacks.iter().map(|b| b[1] - b[0]).sum::<f64>() / blacks.len() as f64;
    let ruler = Ruler::of(scan, &picture).for_stripes(mean);
    let reading = Reading::new(&picture, ruler, (frame, size), blacks, levels, films);
    let (edges, doubts) = doubts::film_doubts(&reading);
    Ok(reading.layout(&picture, &edges, doubts))
}

fn layout(picture: &Picture, candidate: &mut judge::Candidate) -> Layout {
    candidate.reading.include_outer_whites(picture);
    let (edges, doubts) = doubts::doubts(candidate);
    candidate.reading.layout(picture, &edges, doubts)
}

/// Groups of bars looked at, the largest first.
const MOST_GROUPS: usize = 16;
