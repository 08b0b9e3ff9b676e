//! Scene -> encoded pixels, in the order in which light and electronics work.

use nalgebra::Vector3;

use super::{
    drawn::Drawn,
    encode,
    marks::{Stroke, grain, hair},
    picture::Picture,
    placement::{Placement, pixels},
    random::{Mottle, Random},
    scene::{Card, File, Page, Scene},
    sensor::Sensor,
    shades::Ladder,
    truth::Truth,
};
use crate::Result;

/// A rendered scan.
#[derive(Debug, Clone)]
pub struct Rendered {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Encoded R, G, B of the file's colour space, 0 to 1.
    pub encoded: Vec<f32>,
    /// How it is to be written.
    pub file: File,
    /// What is on it.
    pub truth: Truth,
}

impl Rendered {
    /// The file's bytes.
    pub fn bytes(&self) -> Result<Vec<u8>> {
        encode::bytes(self.width, self.height, &self.encoded, self.file)
    }
}

/// Renders a scene. The same scene always gives the same pixels.
pub fn render(scene: &Scene) -> Rendered {
    let ladders: Vec<Ladder> = scene.cards.iter().map(|card| ladder(scene, card)).collect();
    let sensor = Sensor::of(scene.scanner.sensor);
    let mut picture = on_the_glass(scene, &sensor, &ladders);
    through_the_scanner(&mut picture, scene, &sensor);
    to_file_space(&mut picture, &sensor, scene.file);
    picture.sharpen(scene.scanner.sharpening, 1.2);
    picture
        .values
        .iter_mut()
        .for_each(|v| *v = v.clamp(0.0, 1.0));
    Rendered {
        width: picture.width,
        height: picture.height,
        encoded: picture.values,
        file: scene.file,
        truth: Truth::new(scene, &ladders),
    }
}

/// Everything random on card `i` comes from this seed.
pub fn card_seed(scene: &Scene, i: usize) -> u64 {
    Random::of(scene.seed, &format!("card {i}")).seed()
}

fn ladder(scene: &Scene, card: &Card) -> Ladder {
    // Beads, ridges and streaks may double a film.
    let most = 2.2 * card.films.iter().map(|f| f.build).fold(0.5, f64::max);
    Ladder::new(scene.light, &card.paint, most)
}

/// Light that comes back from cards, lid and dirt under a perfect lamp.
fn on_the_glass(scene: &Scene, sensor: &Sensor, ladders: &[Ladder]) -> Picture {
    let page = &scene.page;
    let [width, height] = pixels(page);
    let cards: Vec<(Placement, Drawn, f64)> = scene
        .cards
        .iter()
        .zip(ladders)
        .enumerate()
        .map(|(i, (card, ladder))| {
            (
                Placement::of_card(page, card),
                Drawn::new(card, ladder, sensor, card_seed(scene, i)),
                card.shadow,
            )
        })
        .collect();
    let lid = sensor.see(&page.lid);
    let weave = Mottle::new(&mut Random::of(scene.seed, "lid"), 1.3 * page.dpi / 25.4);
    let shadow_offset = 0.5 * page.dpi / 25.4;
    // Points across a pixel on an edge: a step of 1/450 inch at most.
    let fine = ((450.0 / page.dpi).ceil() as usize).clamp(2, 4);
    let mut picture = Picture::of(width, height, fine, |x, y| {
        let mut seen = lid.map(|v| v * (1.0 + 0.006 * weave.at(x, y)));
        for (placement, card, shadow) in &cards {
            let [u, v] = placement.from_pixels([x, y]);
            if let Some(colour) = card.at(u, v) {
                seen = colour;
            } else if *shadow > 0.0 {
                let [u, v] = placement.from_pixels([x - shadow_offset, y - shadow_offset]);
                if card.at(u, v).is_some() {
                    seen = seen.map(|v| v * (1.0 - shadow));
                }
            }
            seen = card.taped(u, v, seen);
        }
        seen
    });
    for (i, (card, (placement, ..))) in scene.cards.iter().zip(&cards).enumerate() {
        let mut random = Random::of(card_seed(scene, i), "marks");
        for mark in &card.marks {
            picture.draw(&in_pixels(&mark.strokes(&mut random), placement));
        }
    }
    dirt(&mut picture, page, scene.seed);
    picture
}

fn dirt(picture: &mut Picture, page: &Page, seed: u64) {
    let placement = Placement::of_page(page);
    let mut random = Random::of(seed, "dust");
    let grains = (page.dust * page.size[0] * page.size[1] / 1e4).round() as usize;
    for _ in 0..grains {
        picture.draw(&in_pixels(&[grain(page.size, &mut random)], &placement));
    }
    let mut random = Random::of(seed, "hair");
    for _ in 0..page.hairs {
        picture.draw(&in_pixels(&hair(page.size, &mut random), &placement));
    }
}

fn in_pixels(strokes: &[Stroke], placement: &Placement) -> Vec<Stroke> {
    strokes
        .iter()
        .map(|s| Stroke {
            from: placement.to_pixels(s.from),
            to: placement.to_pixels(s.to),
            radius: s.radius * placement.scale_at(s.from),
            ..*s
        })
        .collect()
}

fn through_the_scanner(picture: &mut Picture, scene: &Scene, sensor: &Sensor) {
    let scanner = &scene.scanner;
    let [across, down] = scanner.shading;
    if across != 0.0 || down != 0.0 {
        picture.shade(|x, y| 1.0 + across * (2.0 * x - 1.0) + down * (2.0 * y - 1.0));
    }
    let reach = scanner.glare_reach * scene.page.dpi / 25.4;
    picture.glare(scanner.glare, reach, sensor.see(&scene.page.lid));
    picture.blur(scanner.blur);
    if scanner.exposure != 1.0 || scanner.offset != 0.0 {
        let (gain, offset) = (scanner.exposure as f32, scanner.offset as f32);
        picture
            .values
            .iter_mut()
            .for_each(|v| *v = *v * gain + offset);
    }
    picture.noise(
        scanner.dark_noise,
        scanner.light_noise,
        &mut Random::of(scene.seed, "noise"),
    );
}

/// Sensor channels -> XYZ by the driver's matrix -> encoded values of the file's colour space.
fn to_file_space(picture: &mut Picture, sensor: &Sensor, file: File) {
    let from_xyz = file
        .space
        .to_xyz()
        .try_inverse()
        .expect("primaries are independent");
    let matrix = from_xyz * sensor.to_xyz;
    let curve = file.space.curve();
    for pixel in picture.values.chunks_exact_mut(3) {
        let linear = matrix * Vector3::new(pixel[0], pixel[1], pixel[2]).map(f64::from);
        for (value, linear) in pixel.iter_mut().zip(linear.iter()) {
            *value = curve.encode(*linear) as f32;
        }
    }
}
