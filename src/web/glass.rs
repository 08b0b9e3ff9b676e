//! The painting under glass, for its own worker and for the workers that each render a part of what is seen.

use serde::Deserialize;
use wasm_bindgen::prelude::*;

use super::{Given, plain, thrown};
use crate::{
    Error,
    colour::ScreenSpace,
    glass::{Strip, light::Taken, mask::Way, out::PngOut, render::Look},
    page::{Held, OpenGlass, Window},
    paint::file::Surface,
};

fn surface_named(name: &str) -> Surface {
    match name {
        "matt" => Surface::Matt,
        "satin" => Surface::Satin,
        _ => Surface::Glossy,
    }
}

fn space(wide: bool) -> ScreenSpace {
    if wide {
        ScreenSpace::DisplayP3
    } else {
        ScreenSpace::Srgb
    }
}

fn way(add: bool) -> Way {
    if add { Way::Add } else { Way::Remove }
}

fn window(value: JsValue) -> Given<Window> {
    serde_wasm_bindgen::from_value(value).map_err(|error| {
        thrown(Error::Refused(format!(
            "This part of the picture cannot be shown ({error})."
        )))
    })
}

/// One change of an area's place, in pixels of the painting.
#[derive(Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Draw {
    Begin {
        add: bool,
    },
    Brush {
        line: [[f64; 2]; 2],
        radius: f64,
        soft: f64,
        strength: f64,
        add: bool,
    },
    Outline {
        points: Vec<[f64; 2]>,
        soft: f64,
        add: bool,
    },
    Grow {
        at: [f64; 2],
        reach: f64,
        soft: f64,
        add: bool,
    },
    End {},
    Soften {
        by: f64,
    },
    TurnOver {},
    Whole {},
    Run {
        run: Option<[[f64; 2]; 2]>,
    },
    Step {
        back: bool,
    },
    Choose {
        area: usize,
    },
    AddArea {},
    TakeArea {},
}

/// A painting under glass.
#[wasm_bindgen]
pub struct Glass(OpenGlass);

#[wasm_bindgen]
impl Glass {
    /// Decodes a picture of the painting; `wide` for a Display-P3 screen.
    #[wasm_bindgen(constructor)]
    pub fn new(bytes: &[u8], file_name: &str, wide: bool) -> Given<Glass> {
        OpenGlass::new(bytes, file_name, wide)
            .map(Self)
            .map_err(thrown)
    }

    /// Takes up the picture's films, and the tubes where they have changed: keys and pigment files.
    pub fn use_picture(
        &mut self,
        text: &str,
        keys: Option<Vec<String>>,
        texts: Option<Vec<String>>,
    ) -> Given<()> {
        let tubes = keys
            .zip(texts)
            .map(|(keys, texts)| keys.into_iter().zip(texts).collect());
        self.0.use_picture(text, tubes).map_err(thrown)
    }

    /// `photo` or `scan`, and the painting's gloss.
    pub fn describe(&mut self, taken: &str, surface: &str) {
        let taken = if taken == "scan" {
            Taken::Scan
        } else {
            Taken::Photo
        };
        self.0.describe(taken, surface_named(surface));
    }

    /// A place has a known colour.
    #[allow(clippy::too_many_arguments)]
    pub fn know(&mut self, x: f64, y: f64, radius: f64, l: f64, a: f64, b: f64) -> Given<()> {
        self.0.know([x, y], radius, [l, a, b]).map_err(thrown)
    }

    /// Forgets a known place.
    pub fn forget(&mut self, place: usize) -> Given<()> {
        self.0.forget(place).map_err(thrown)
    }

    /// Draws on the areas: `Draw` in www/glass/types.js. A step back or again gives the picture where its own films change with it.
    pub fn draw(&mut self, change: JsValue) -> Given<Option<String>> {
        let change: Draw = serde_wasm_bindgen::from_value(change)?;
        let glass = &mut self.0;
        match change {
            Draw::Begin { add } => glass.begin_stroke(way(add)),
            Draw::Brush {
                line,
                radius,
                soft,
                strength,
                add,
            } => {
                glass.brush(line, radius, soft, strength, way(add));
            }
            Draw::Outline { points, soft, add } => glass.outline(&points, soft, way(add)),
            Draw::Grow {
                at,
                reach,
                soft,
                add,
            } => glass.grow(at, reach, soft, way(add)),
            Draw::End {} => glass.end(),
            Draw::Soften { by } => glass.whole_mask(Some(by)),
            Draw::TurnOver {} => glass.whole_mask(None),
            Draw::Whole {} => glass.whole(),
            Draw::Run { run } => glass.run(run),
            Draw::Step { back } => return glass.step(back).map_err(thrown),
            Draw::Choose { area } => glass.choose_area(area),
            Draw::AddArea {} => glass.add_area().map_err(thrown)?,
            Draw::TakeArea {} => glass.take_area(),
        }
        Ok(None)
    }

    /// A film in the chosen area: a build of its own, 0 for not here, none for as planned.
    pub fn set_film(&mut self, film: usize, build: Option<f64>) -> Given<()> {
        self.0.set_film(film, build).map_err(thrown)
    }

    /// A film of the picture itself, while it is pulled.
    pub fn plan_build(&mut self, film: usize, build: f64) -> Given<()> {
        self.0.plan_build(film, build).map_err(thrown)
    }

    /// The films of an area as numbers for [`GlassStrip::lay`].
    pub fn laid(&mut self, area: usize, rough: bool) -> Given<Vec<f64>> {
        self.0.laid(area, rough).map_err(thrown)
    }

    /// Codes of some rows of a window.
    pub fn codes(&self, of: JsValue, from: usize, to: usize) -> Given<Vec<u16>> {
        Ok(self.0.codes(&window(of)?, from..to))
    }

    /// Shares of an area on some rows of a window; nothing where all of it lies everywhere.
    pub fn shares(
        &self,
        of: JsValue,
        area: usize,
        from: usize,
        to: usize,
    ) -> Given<Option<Vec<u8>>> {
        Ok(self.0.shares(&window(of)?, area, from..to))
    }

    /// Rows X, Y, Z of the codes, one after the other.
    pub fn matrix(&self) -> Vec<f64> {
        self.0.matrix().concat()
    }

    /// The colour around a pixel: `GlassSpot` in www/glass/types.js.
    pub fn spot(&mut self, x: f64, y: f64, radius: f64) -> Given<JsValue> {
        plain(&self.0.spot([x, y], radius).map_err(thrown)?)
    }

    /// Everything beside the painting: `GlassView` in www/glass/types.js.
    pub fn view(&mut self) -> Given<JsValue> {
        plain(&self.0.view().map_err(thrown)?)
    }

    /// What was done here, to be held: JSON.
    pub fn held_text(&self) -> Given<String> {
        self.0.held_text().map_err(thrown)
    }

    /// The masks to be held: a PNG for each area, empty for the whole picture.
    pub fn held_masks(&self) -> Given<Vec<js_sys::Uint8Array>> {
        let masks = self.0.held_masks().map_err(thrown)?;
        Ok(masks
            .iter()
            .map(|mask| js_sys::Uint8Array::from(mask.as_slice()))
            .collect())
    }

    /// A reduced copy of the painting as a file.
    pub fn small_file(&self) -> Given<Vec<u8>> {
        self.0.small_file().map_err(thrown)
    }

    /// Takes up what was held of this painting.
    pub fn take_up(&mut self, text: String, masks: Vec<js_sys::Uint8Array>) -> Given<()> {
        let masks = masks.iter().map(js_sys::Uint8Array::to_vec).collect();
        self.0.take_up(&Held { text, masks }).map_err(thrown)
    }

    /// All of the painting, small: the `Shown` in www/glass/types.js that lost drawing is looked for on.
    pub fn small(&self) -> Given<JsValue> {
        plain(&self.0.small())
    }
}

/// Where the drawing is lost.
#[wasm_bindgen]
pub struct Lost {
    rgba: Vec<u8>,
    /// Share of the drawing that is lost, 0 to 1.
    #[wasm_bindgen(readonly)]
    pub share: f64,
}

#[wasm_bindgen]
impl Lost {
    /// R, G, B and strength of every pixel, once.
    pub fn rgba(&mut self) -> Vec<u8> {
        std::mem::take(&mut self.rgba)
    }
}

/// A part of what is seen.
#[wasm_bindgen]
pub struct GlassStrip(Strip);

#[wasm_bindgen]
impl GlassStrip {
    /// From [`Glass::matrix`], the painting's gloss and whether the screen is wide.
    #[wasm_bindgen(constructor)]
    pub fn new(matrix: &[f64], surface: &str, wide: bool) -> GlassStrip {
        let rows = std::array::from_fn(|i| {
            std::array::from_fn(|j| matrix.get(3 * i + j).copied().unwrap_or(0.0))
        });
        Self(Strip::new(&rows, surface_named(surface), space(wide)))
    }

    /// Pixels, and in which row of the view they begin.
    pub fn set_pixels(&mut self, codes: Vec<u16>, width: usize, first_row: usize) {
        self.0.set_pixels(codes, width, first_row);
    }

    /// How many areas.
    pub fn set_areas(&mut self, count: usize) {
        self.0.set_areas(count);
    }

    /// Where an area's films lie.
    pub fn set_shares(&mut self, area: usize, shares: Option<Vec<u8>>) {
        self.0.set_shares(area, shares);
    }

    /// What an area's films are.
    pub fn lay(&mut self, area: usize, packed: &[f64]) -> Given<()> {
        self.0.lay(area, packed).map_err(thrown)
    }

    /// R, G, B, 255 of every pixel, or of every second one of every second row of the view.
    pub fn render(&self, bare: bool, grey: bool, hatch: bool, coarse: bool) -> Vec<u8> {
        let look = Look {
            grey,
            hatch_cut: hatch.then_some(0),
        };
        self.0.render(look, bare, coarse)
    }

    /// Where the drawing is lost.
    pub fn lost(&self) -> Lost {
        let (rgba, share) = self.0.lost();
        Lost { rgba, share }
    }

    /// For a file: R, G, B of 8 bits, or of 16 with the upper byte first.
    pub fn for_file(&self, sixteen: bool) -> Vec<u8> {
        if sixteen {
            self.0.render16()
        } else {
            self.0.render8()
        }
    }
}

/// A PNG file being written.
#[wasm_bindgen]
pub struct GlassFile(Option<PngOut>);

#[wasm_bindgen]
impl GlassFile {
    /// Begins a file; one of 16 bits is in Display-P3, which holds more of what glazes do, one of 8 in sRGB.
    #[wasm_bindgen(constructor)]
    pub fn new(width: usize, height: usize, sixteen: bool) -> Given<GlassFile> {
        PngOut::new(width, height, sixteen, space(sixteen))
            .map(|out| Self(Some(out)))
            .map_err(thrown)
    }

    /// Writes rows; gives bytes of the file.
    pub fn rows(&mut self, rows: &[u8]) -> Given<Vec<u8>> {
        match &mut self.0 {
            Some(out) => out.rows(rows).map_err(thrown),
            None => Ok(Vec::new()),
        }
    }

    /// Ends the file; gives its last bytes.
    pub fn end(&mut self) -> Given<Vec<u8>> {
        match self.0.take() {
            Some(out) => out.end().map_err(thrown),
            None => Ok(Vec::new()),
        }
    }
}
