//! A part of the picture with everything that is needed to glaze it again at every pull: one worker's share of the work.

use super::{
    grounds::Grounds,
    lost,
    render::{self, Laid, Look, Shares},
    table::{Family, Place},
};
use crate::{
    Error, Result,
    colour::{self, ScreenSpace},
    film::Response,
    paint::file::Surface,
    spectrum::BANDS,
};

/// Numbers that the films of one share are packed in: the share's step, and three for every band.
const PACKED: usize = 1 + 3 * BANDS;

/// Films' answers at their shares as plain numbers, to be sent from one worker to another.
pub fn pack(shares: &[(usize, [Response; BANDS])]) -> Vec<f64> {
    let mut packed = Vec::with_capacity(shares.len() * PACKED);
    for (step, responses) in shares {
        packed.push(*step as f64);
        for at in responses {
            packed.extend([at.a, at.b, at.c]);
        }
    }
    packed
}

fn unpack(packed: &[f64]) -> Result<Vec<(usize, [Response; BANDS])>> {
    if packed.is_empty() || !packed.len().is_multiple_of(PACKED) {
        return Err(Error::Refused(
            "These films cannot be shown. Reload the page.".into(),
        ));
    }
    Ok(packed
        .chunks(PACKED)
        .map(|share| {
            let responses = std::array::from_fn(|band| Response {
                a: share[1 + 3 * band],
                b: share[2 + 3 * band],
                c: share[3 + 3 * band],
            });
            (share[0] as usize, responses)
        })
        .collect())
}

/// Some rows of pixels under the films of any number of areas.
#[derive(Debug)]
pub struct Strip {
    space: ScreenSpace,
    grounds: Grounds,
    /// Of the screen's own colours, for films over what earlier areas left; made when first needed.
    over: Option<Grounds>,
    bare: Family,
    /// All pixels.
    fine: Rows,
    /// Every second pixel of every second row of the view: what a film is pulled on where all of them take longer than the eye waits.
    coarse: Rows,
    areas: Vec<Area>,
}

#[derive(Debug, Default)]
struct Rows {
    pixels: Vec<Place>,
    width: usize,
    /// Where they lie in the view, in its rows.
    first: usize,
}

/// Every second item of every second row, from the row `skip`.
fn second<T: Copy>(all: &[T], width: usize, skip: usize) -> Vec<T> {
    let rows = all.chunks(width).skip(skip).step_by(2);
    rows.flat_map(|row| row.iter().step_by(2).copied())
        .collect()
}

#[derive(Debug, Default)]
struct Area {
    /// How much of its films lies on each pixel, and on each coarse one; all of it where there is nothing.
    shares: Option<[Vec<u8>; 2]>,
    family: Option<Family>,
    over: Option<Family>,
}

impl Strip {
    /// Of a painting whose decoded channels are turned to XYZ by this matrix and whose surface has this gloss.
    pub fn new(to_xyz: &[[f64; 3]; 3], surface: Surface, space: ScreenSpace) -> Self {
        let grounds = Grounds::new(to_xyz, surface);
        Self {
            space,
            bare: Family::bare_only(&grounds, space),
            grounds,
            over: None,
            fine: Rows::default(),
            coarse: Rows::default(),
            areas: Vec::new(),
        }
    }

    /// Takes up pixels, rows of `width`; `first_row` is where they lie in the view.
    pub fn set_pixels(&mut self, codes: Vec<u16>, width: usize, first_row: usize) {
        let width = width.max(1);
        let codes = codes.as_chunks().0;
        self.fine = Rows {
            pixels: codes.iter().map(|code| Place::of(*code)).collect(),
            width,
            first: first_row,
        };
        self.coarse = Rows {
            pixels: second(&self.fine.pixels, width, first_row % 2),
            width: width.div_ceil(2),
            first: first_row.next_multiple_of(2),
        };
    }

    /// There are so many areas; what was known of their masks is forgotten.
    pub fn set_areas(&mut self, count: usize) {
        self.areas.clear();
        self.areas.resize_with(count, Area::default);
    }

    /// Where an area's films lie: a share for every pixel, or all of it everywhere.
    pub fn set_shares(&mut self, area: usize, shares: Option<Vec<u8>>) {
        if let Some(area) = self.areas.get_mut(area) {
            let Rows { width, first, .. } = self.fine;
            area.shares = shares.map(|fine| {
                let coarse = second(&fine, width.max(1), first % 2);
                [fine, coarse]
            });
        }
    }

    /// An area's films as [`pack`]ed; none where there are no films.
    ///
    /// # Errors
    /// [`Error::Refused`] for numbers that are no films.
    pub fn lay(&mut self, area: usize, packed: &[f64]) -> Result<()> {
        let Some(at) = self.areas.get_mut(area) else {
            return Ok(());
        };
        at.family = None;
        at.over = None;
        if packed.is_empty() {
            return Ok(());
        }
        let shares = unpack(packed)?;
        at.family = Some(Family::of_responses(&self.grounds, self.space, &shares));
        if area > 0 {
            let space = self.space;
            let over = self
                .over
                .get_or_insert_with(|| Grounds::new(&space.to_xyz(), Surface::Glossy));
            at.over = Some(Family::of_responses(over, space, &shares));
        }
        Ok(())
    }

    fn laid(&self, row: usize, bare: bool, coarse: bool) -> Vec<Laid<'_>> {
        if bare {
            return Vec::new();
        }
        let width = self.rows(coarse).width;
        self.areas
            .iter()
            .filter_map(|area| {
                let shares = match &area.shares {
                    None => Shares::All,
                    Some(shares) => {
                        let shares = &shares[usize::from(coarse)];
                        let shares = shares.get(row * width..(row + 1) * width)?;
                        if shares.iter().all(|s| *s == 0) {
                            return None;
                        }
                        Shares::Each(shares)
                    }
                };
                Some(Laid {
                    family: area.family.as_ref()?,
                    over: area.over.as_ref(),
                    shares,
                })
            })
            .collect()
    }

    fn rows(&self, coarse: bool) -> &Rows {
        if coarse { &self.coarse } else { &self.fine }
    }

    /// All pixels as the screen takes them: R, G, B, 255. `bare` shows the painting without films; `coarse` takes every second pixel of
    /// the view's every second row only, from its first.
    pub fn render(&self, look: Look, bare: bool, coarse: bool) -> Vec<u8> {
        let Rows {
            pixels,
            width,
            first,
        } = self.rows(coarse);
        if pixels.is_empty() {
            return Vec::new();
        }
        let mut out = vec![0; 4 * pixels.len()];
        for (row, (pixels, out)) in pixels
            .chunks(*width)
            .zip(out.chunks_mut(4 * width))
            .enumerate()
        {
            let look = Look {
                hatch_cut: look.hatch_cut.map(|_| first + row),
                ..look
            };
            render::row(&self.bare, &self.laid(row, bare, coarse), pixels, look, out);
        }
        out
    }

    /// Where the drawing is lost: R, G, B and how strongly it is to be drawn, of every pixel; and which share of the drawing that is.
    pub fn lost(&self) -> (Vec<u8>, f64) {
        let values = Look {
            grey: true,
            ..Look::default()
        };
        let lightness: Vec<f32> = (0..=255)
            .map(|v| colour::of_screen([v; 3]).l as f32)
            .collect();
        let lights = |bare: bool| -> Vec<f32> {
            let seen = self.render(values, bare, false);
            let pixels = seen.as_chunks::<4>().0;
            pixels
                .iter()
                .map(|p| lightness[usize::from(p[0])])
                .collect()
        };
        let width = self.fine.width.max(1);
        let (before, after) = (lights(true), lights(false));
        let lost = lost::lost(&before, &after, width);
        let hatched = lost.places.iter().enumerate().flat_map(|(i, gone)| {
            match (gone, (i % width + i / width) % 6) {
                (true, 0 | 1) => [255, 255, 255, 255],
                (true, 2) => [0, 0, 0, 255],
                _ => [0; 4],
            }
        });
        (hatched.collect(), lost.share)
    }

    /// All pixels for a file of 8 bits: R, G, B.
    pub fn render8(&self) -> Vec<u8> {
        let width = self.fine.width.max(1);
        let mut out = vec![0; 3 * self.fine.pixels.len()];
        let rows = self.fine.pixels.chunks(width);
        for (row, (pixels, out)) in rows.zip(out.chunks_mut(3 * width)).enumerate() {
            render::row8(&self.bare, &self.laid(row, false, false), pixels, out);
        }
        out
    }

    /// All pixels for a file of 16 bits: R, G, B, the upper byte first as PNG has it.
    pub fn render16(&self) -> Vec<u8> {
        let width = self.fine.width.max(1);
        let mut line = vec![0_u16; 3 * width];
        let mut out = Vec::with_capacity(6 * self.fine.pixels.len());
        for (row, pixels) in self.fine.pixels.chunks(width).enumerate() {
            render::row16(&self.bare, &self.laid(row, false, false), pixels, &mut line);
            out.extend(line.iter().flat_map(|v| v.to_be_bytes()));
        }
        out
    }
}
