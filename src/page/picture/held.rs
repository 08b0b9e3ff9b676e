//! What was done on a painting under glass, to be held with its picture and gone on with another day.

use std::{collections::BTreeMap, io::Cursor, sync::Arc};

use serde::{Deserialize, Serialize};

use super::glass::{Area, MASK, MOST_AREAS, OpenGlass};
use crate::{
    Error, Result,
    glass::{
        light::{Known, Light, Taken},
        mask::{Mask, Run},
        small,
    },
    paint::file::Surface,
};

/// Version that this program writes.
const VERSION: u32 = 1;
/// Most places of known colour that are taken up.
const MOST_KNOWN: usize = 100;

/// Everything but the painting itself and the masks.
#[derive(Serialize, Deserialize)]
struct Text {
    version: u32,
    taken: Taken,
    surface: Surface,
    known: Vec<Known>,
    areas: Vec<HeldArea>,
    area: usize,
    /// Pixels of the whole painting across and down; older notes have none.
    #[serde(default)]
    size: Option<[usize; 2]>,
}

#[derive(Serialize, Deserialize)]
struct HeldArea {
    run: Option<Run>,
    own: BTreeMap<String, f64>,
}

/// What is held of an open painting.
#[derive(Debug, Clone, PartialEq)]
pub struct Held {
    /// JSON.
    pub text: String,
    /// A grey PNG for each area; empty where the area is the whole picture.
    pub masks: Vec<Vec<u8>>,
}

fn not_ours(why: impl std::fmt::Display) -> Error {
    let why = crate::error::plain(&why.to_string());
    Error::Refused(format!(
        "What was done under glass could not be taken up again ({why}). The painting is there, as it came."
    ))
}

impl OpenGlass {
    /// What is to be held.
    ///
    /// # Errors
    /// Never on the machines that this runs on; a mask that cannot be written is said.
    pub fn held(&self) -> Result<Held> {
        Ok(Held {
            text: self.held_text()?,
            masks: self.held_masks()?,
        })
    }

    /// Its text alone.
    ///
    /// # Errors
    /// As [`Self::held`].
    pub fn held_text(&self) -> Result<String> {
        let text = Text {
            version: VERSION,
            taken: self.taken,
            surface: self.surface,
            known: self.known.clone(),
            areas: self
                .areas
                .iter()
                .map(|area| HeldArea {
                    run: area.run,
                    own: area.own.clone(),
                })
                .collect(),
            area: self.area,
            size: Some(self.reduced_from.unwrap_or(self.size())),
        };
        serde_json::to_string(&text).map_err(not_ours)
    }

    /// Its masks alone.
    ///
    /// # Errors
    /// As [`Self::held`].
    pub fn held_masks(&self) -> Result<Vec<Vec<u8>>> {
        let masks = self.areas.iter().map(|area| match &area.mask {
            Some(mask) => png_of(mask).map_err(not_ours),
            None => Ok(Vec::new()),
        });
        masks.collect()
    }

    /// A reduced copy of the painting as a file, to be held where there is no room for the painting itself. What is held of the
    /// one is taken up by the other.
    ///
    /// # Errors
    /// [`Error::Outside`] where it cannot be written.
    pub fn small_file(&self) -> Result<Vec<u8>> {
        small::file(&self.painting, self.origin.profile_assumed)
    }

    fn size(&self) -> [usize; 2] {
        [self.painting.width, self.painting.height]
    }

    /// Takes up what was held of this painting, or of the whole one where this is its reduced copy. A refused one leaves everything as it was.
    ///
    /// # Errors
    /// [`Error::Refused`] for what was held of another painting or by a newer program.
    pub fn take_up(&mut self, held: &Held) -> Result<()> {
        let text: Text = serde_json::from_str(&held.text).map_err(not_ours)?;
        if text.version != VERSION {
            return Err(not_ours("another version of this program wrote it"));
        }
        if text.areas.is_empty() || text.areas.len() > MOST_AREAS {
            return Err(not_ours("it has no areas, or too many"));
        }
        if text.known.len() > MOST_KNOWN || held.masks.len() != text.areas.len() {
            return Err(not_ours("its lists do not belong together"));
        }
        let plain = |values: &[f64]| values.iter().all(|v| v.is_finite() && v.abs() <= 1000.0);
        let well_known = |known: &Known| {
            plain(&[known.at, [0.0; 2]].concat()) && plain(&known.lab) && plain(&known.linear)
        };
        if !text.known.iter().all(well_known) {
            return Err(not_ours("a place of known colour has no numbers"));
        }
        let size = self.size();
        let reduced_from = match text.size {
            Some(whole) if whole == size => None,
            Some(whole) if small::is_copy(size, whole) => Some(whole),
            Some(_) => return Err(not_ours("it was drawn on another painting")),
            None => None,
        };
        let mut areas = Vec::with_capacity(text.areas.len());
        for (i, (area, mask)) in text.areas.into_iter().zip(&held.masks).enumerate() {
            let most = 0.0..=super::view::MOST_PULL;
            if area.own.values().any(|build| !most.contains(build)) {
                return Err(not_ours("a film in it is thicker than any film"));
            }
            if area
                .run
                .is_some_and(|run| !plain(&run.from) || !plain(&run.to))
            {
                return Err(not_ours("a film in it runs out nowhere"));
            }
            let mask = if mask.is_empty() {
                None
            } else {
                Some(Arc::new(mask_of(mask, self.copy.width, self.copy.height)?))
            };
            areas.push(Area {
                mask,
                run: area.run,
                own: area.own,
                ..Area::named(i)
            });
        }
        let light = Light::of(&text.known, &self.painting.to_xyz)?;
        self.steps.forget();
        self.before = None;
        self.areas = areas;
        self.reduced_from = reduced_from;
        self.choose_area(text.area);
        self.known = text.known;
        self.light = light;
        self.describe(text.taken, text.surface);
        self.see_copy();
        Ok(())
    }
}

fn png_of(mask: &Mask) -> std::result::Result<Vec<u8>, png::EncodingError> {
    let mut bytes = Vec::new();
    let mut encoder = png::Encoder::new(&mut bytes, mask.width as u32, mask.height as u32);
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::Eight);
    encoder.set_compression(png::Compression::Fast);
    let mut writer = encoder.write_header()?;
    writer.write_image_data(&mask.values)?;
    writer.finish()?;
    Ok(bytes)
}

fn mask_of(bytes: &[u8], width: usize, height: usize) -> Result<Mask> {
    let mut reader = png::Decoder::new(Cursor::new(bytes))
        .read_info()
        .map_err(not_ours)?;
    let info = reader.info();
    let grey =
        info.color_type == png::ColorType::Grayscale && info.bit_depth == png::BitDepth::Eight;
    let drawn = [info.width as usize, info.height as usize];
    // A mask that was drawn on the reduced copy of a painting, or on the painting and belongs on its copy, may be a little larger or
    // smaller; both are of one shape, to the pixel.
    let fits = |[across, down]: [usize; 2], size: [usize; 2]| {
        (across * size[1]).abs_diff(down * size[0]) <= across.max(down).max(size[0]).max(size[1])
    };
    if !grey || drawn.iter().any(|n| *n > MASK) || !fits(drawn, [width, height]) {
        return Err(not_ours("it was drawn on another painting"));
    }
    let mut mask = Mask::new(drawn[0], drawn[1], 0);
    reader.next_frame(&mut mask.values).map_err(not_ours)?;
    Ok(mask.sized(width, height))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{glass::mask::Way, page::Window};

    /// A small picture file of stripes.
    fn painting(width: u32, height: u32) -> Vec<u8> {
        let picture = image::RgbImage::from_fn(width, height, |x, y| {
            image::Rgb([(x * 7 % 256) as u8, (y * 5 % 256) as u8, 90])
        });
        let mut bytes = Cursor::new(Vec::new());
        picture
            .write_to(&mut bytes, image::ImageFormat::Png)
            .unwrap();
        bytes.into_inner()
    }

    fn worked_on() -> OpenGlass {
        let mut open = OpenGlass::new(&painting(160, 90), "stripes.png", false).unwrap();
        open.describe(Taken::Scan, Surface::Satin);
        open.know([30.0, 20.0], 3.0, [50.0, 0.0, 0.0]).unwrap();
        open.add_area().unwrap();
        open.begin_stroke(Way::Add);
        open.brush([[20.0, 20.0], [90.0, 60.0]], 12.0, 0.5, 1.0, Way::Add);
        open.end();
        open.run(Some([[10.0, 10.0], [120.0, 70.0]]));
        open
    }

    #[test]
    fn what_was_done_is_taken_up_again() {
        let mut first = worked_on();
        let held = first.held().unwrap();
        let mut again = OpenGlass::new(&painting(160, 90), "stripes.png", false).unwrap();
        again.take_up(&held).unwrap();
        assert_eq!(again.held().unwrap(), held);
        let window = Window {
            left: 0.0,
            top: 0.0,
            scale: 1.0,
            width: 160,
            height: 90,
        };
        assert_eq!(
            again.shares(&window, 1, 0..90),
            first.shares(&window, 1, 0..90)
        );
        assert_eq!(again.matrix(), first.matrix());
        let (mut seen, mut was) = (again.view().unwrap(), first.view().unwrap());
        // Steps back are not held.
        (seen.undo, was.undo) = (false, false);
        assert_eq!(seen, was);
    }

    /// The reduced copy takes up what was drawn on the whole, goes on, and gives it all back to the whole.
    #[test]
    fn a_reduced_copy_and_the_whole_take_up_each_others_work() {
        let [width, height] = [2403, 1205];
        let file = painting(width, height);
        let open = |file: &[u8]| OpenGlass::new(file, "stripes.png", false).unwrap();
        let mut whole = open(&file);
        whole.know([300.0, 200.0], 30.0, [50.0, 0.0, 0.0]).unwrap();
        whole.begin_stroke(Way::Add);
        whole.brush([[500.0, 400.0]; 2], 200.0, 0.0, 1.0, Way::Add);
        whole.end();
        let share = |open: &OpenGlass, area: usize, x: f64, y: f64| {
            let scale = open.painting.width as f64 / f64::from(width);
            let window = Window {
                left: x * scale,
                top: y * scale,
                scale: 1.0,
                width: 1,
                height: 1,
            };
            open.shares(&window, area, 0..1).map(|shares| shares[0])
        };
        let drawn = |open: &OpenGlass| {
            // Inside, beyond each end, and beyond the rim.
            [
                [500.0, 400.0],
                [350.0, 400.0],
                [650.0, 400.0],
                [500.0, 250.0],
                [710.0, 400.0],
                [500.0, 190.0],
            ]
            .map(|[x, y]| share(open, 0, x, y))
        };
        let is = [255, 255, 255, 255, 0, 0].map(Some);
        assert_eq!(drawn(&whole), is);
        let mut small = open(&whole.small_file().unwrap());
        assert_eq!(small.painting.width, 1600);
        assert!(!small.view().unwrap().notes[0].contains("reduced copy"));
        small.take_up(&whole.held().unwrap()).unwrap();
        assert_eq!(drawn(&small), is);
        let notes = small.view().unwrap().notes;
        assert!(notes[0].contains("reduced copy"), "{notes:?}");
        for (a, b) in small.matrix().concat().iter().zip(whole.matrix().concat()) {
            assert!((a / b - 1.0).abs() < 1e-3 || (a - b).abs() < 1e-4);
        }
        small.add_area().unwrap();
        small.begin_stroke(Way::Add);
        small.brush([[1200.0, 600.0]; 2], 100.0, 0.0, 1.0, Way::Add);
        small.end();
        let mut again = open(&file);
        again.take_up(&small.held().unwrap()).unwrap();
        assert_eq!(drawn(&again), is);
        let at = 1200.0 * f64::from(width) / 1600.0;
        assert_eq!(share(&again, 1, at, 900.0), Some(255));
        assert_eq!(share(&again, 1, at + 170.0, 900.0), Some(0));
        assert_eq!(again.held().unwrap(), small.held().unwrap());
        assert!(!again.view().unwrap().notes[0].contains("reduced copy"));
    }

    #[test]
    fn what_cannot_be_taken_up_changes_nothing() {
        let held = worked_on().held().unwrap();
        let mut other = OpenGlass::new(&painting(161, 90), "other.png", false).unwrap();
        let before = other.held().unwrap();
        let spoilt = |text: &str, masks: &[Vec<u8>]| Held {
            text: text.to_owned(),
            masks: masks.to_vec(),
        };
        let cut = [Vec::new(), held.masks[1][..40].to_vec()];
        for held in [
            held.clone(),
            spoilt("", &held.masks),
            spoilt(&held.text, &[]),
            spoilt(&held.text, &cut),
            spoilt(
                &held.text.replace("\"version\":1", "\"version\":2"),
                &held.masks,
            ),
            spoilt(&held.text.replace("50.0", "1e300"), &held.masks),
        ] {
            let said = other.take_up(&held).unwrap_err().to_string();
            assert!(said.contains("could not be taken up"), "{said}");
            assert_eq!(other.held().unwrap(), before);
        }
    }
}
