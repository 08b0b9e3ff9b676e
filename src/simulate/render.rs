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
    picture.map_tones(scene.scanner.tone);
    picture.stretch(scene.scanner.stretch);
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

#[cfg(test)]
mod tests {
    use super::*;
    use crate::{
        card::Ground,
        simulate::{
            paints,
            scene::{FileKind, Film, Scanner, Stripe},
            shades::{Directions, Light},
            space::Space,
        },
        spectrum::BANDS,
    };

    /// A card of four stripes and two even films, square on a grey lid, through a perfect scanner.
    fn plain(paint: &str) -> Scene {
        let stripe = |ground| Stripe {
            ground,
            width: 12.0,
        };
        let card = Card {
            paint: paints::named(paint).unwrap(),
            centre: [32.0, 34.0],
            rotation: 0.0,
            stripes: [Ground::Black, Ground::White, Ground::Black, Ground::White]
                .map(stripe)
                .to_vec(),
            length: 50.0,
            margins: [5.0, 6.0, 5.0, 6.0],
            white: [0.84; BANDS],
            black: [0.035; BANDS],
            paper: [0.84; BANDS],
            waviness: 0.0,
            smear: 0.0,
            films: vec![
                Film::even(0.5, 7.0, 19.0, 48.0),
                Film::even(1.6, 27.0, 41.0, 48.0),
            ],
            haze: 0.0,
            glow: 0.0,
            sheet: 0.0,
            marks: Vec::new(),
            shadow: 0.0,
        };
        Scene {
            seed: 1,
            light: Light {
                anisotropy: 0.6,
                directions: Directions::TwentyFour,
            },
            cards: vec![card],
            page: Page {
                size: [64.0, 68.0],
                dpi: 100.0,
                lid: [0.4; BANDS],
                perspective: [[0.0; 2]; 4],
                dust: 0.0,
                hairs: 0,
            },
            scanner: Scanner::ideal(),
            file: File {
                space: Space::Srgb,
                tagged: true,
                kind: FileKind::Png16,
                dpi: Some(100.0),
            },
        }
    }

    /// Mean of a cell's pixels in linear R, G, B.
    fn mean_linear(
        scene: &Scene,
        rendered: &Rendered,
        stripe: usize,
        film: usize,
        decode: impl Fn(f64) -> f64,
    ) -> [f64; 3] {
        let card = &scene.cards[0];
        let placement = Placement::of_card(&scene.page, card);
        let (left, film) = (card.edges()[stripe], &card.films[film]);
        let (mut sum, mut count) = ([0.0; 3], 0.0);
        for y in 0..rendered.height {
            for x in 0..rendered.width {
                let [u, v] = placement.from_pixels([x as f64 + 0.5, y as f64 + 0.5]);
                if u > left + 2.0 && u < left + 10.0 && v > film.from + 2.0 && v < film.to - 2.0 {
                    let at = 3 * (y * rendered.width + x);
                    (0..3).for_each(|c| sum[c] += decode(f64::from(rendered.encoded[at + c])));
                    count += 1.0;
                }
            }
        }
        sum.map(|s| s / count)
    }

    /// Checked without the renderer's own colour code: the curve and matrix of IEC 61966-2-1, and the published Bradford
    /// matrix from D65 to D50 (digits as in `space`'s test).
    #[test]
    fn a_cell_is_what_exact_transport_says() {
        let scene = plain("dense yellow");
        let mut scene = scene;
        // A pale film: everything lies inside sRGB.
        scene.cards[0].paint = paints::named("faint rose").unwrap();
        let rendered = render(&scene);
        let standard = |e: f64| {
            if e <= 0.04045 {
                e / 12.92
            } else {
                ((e + 0.055) / 1.055).powf(2.4)
            }
        };
        let linear = nalgebra::Matrix3::new(
            0.412390799,
            0.357584339,
            0.180480788,
            0.212639006,
            0.715168679,
            0.072192315,
            0.019330819,
            0.119194780,
            0.950532152,
        );
        let bradford = nalgebra::Matrix3::new(
            1.0478112, 0.0228866, -0.0501270, 0.0295424, 0.9904844, -0.0170491, -0.0092345,
            0.0150436, 0.7521316,
        );
        for cell in &rendered.truth.cards[0].cells {
            let stripe = if cell.ground == Ground::Black { 0 } else { 1 };
            let rgb = mean_linear(&scene, &rendered, stripe, cell.film, standard);
            let xyz = bradford * linear * Vector3::from(rgb);
            for axis in 0..3 {
                assert!((xyz[axis] - cell.xyz[axis]).abs() < 3e-4, "{cell:?} {xyz}");
                assert!(
                    (cell.drawn_xyz[axis] - cell.xyz[axis]).abs() < 1.5e-5,
                    "{cell:?}"
                );
            }
        }
    }

    #[test]
    fn in_a_wide_space_the_file_loses_nothing() {
        for paint in ["lantern gold", "tide violet", "dense white"] {
            let mut scene = plain(paint);
            scene.file.space = Space::Romm;
            let rendered = render(&scene);
            let curve = Space::Romm.curve();
            for cell in &rendered.truth.cards[0].cells {
                let stripe = if cell.ground == Ground::Black { 2 } else { 3 };
                let rgb = mean_linear(&scene, &rendered, stripe, cell.film, |e| curve.decode(e));
                let xyz = Space::Romm.to_xyz() * Vector3::from(rgb);
                // Deep violet has a little negative red even here, which the file clips.
                for axis in 0..3 {
                    assert!(
                        (xyz[axis] - cell.xyz[axis]).abs() < 1e-4,
                        "{paint} {cell:?} {xyz}"
                    );
                }
            }
        }
    }

    /// Half-level crossings of the picture lie where the truth says that edges are.
    #[test]
    fn edges_lie_where_the_truth_says() {
        let mut scene = plain("garden green");
        scene.cards[0].rotation = 7.0;
        scene.scanner.blur = 0.8;
        let rendered = render(&scene);
        let truth = &rendered.truth.cards[0];
        let placement = Placement::of_card(&scene.page, &scene.cards[0]);
        let curve = Space::Srgb.curve();
        let green = |u: f64, v: f64| {
            let [x, y] = placement.to_pixels([u, v]);
            let pixel = |i: usize, j: usize| {
                curve.decode(f64::from(
                    rendered.encoded[3 * (j * rendered.width + i) + 1],
                ))
            };
            let (x, y) = (x - 0.5, y - 0.5);
            let (i, j) = (x as usize, y as usize);
            let (fx, fy) = (x - i as f64, y - j as f64);
            (1.0 - fy) * ((1.0 - fx) * pixel(i, j) + fx * pixel(i + 1, j))
                + fy * ((1.0 - fx) * pixel(i, j + 1) + fx * pixel(i + 1, j + 1))
        };
        let crossing = |at: &dyn Fn(f64) -> f64, guess: f64| {
            let half = 0.5 * (at(guess - 1.5) + at(guess + 1.5));
            let steps: Vec<f64> = (0..=300)
                .map(|i| guess - 1.5 + 0.01 * f64::from(i))
                .collect();
            steps
                .windows(2)
                .find(|w| (at(w[0]) - half) * (at(w[1]) - half) <= 0.0)
                .map(|w| w[0])
        };
        for stripe in &truth.stripes[1..] {
            let found = crossing(&|u| green(u, 3.0), stripe.from).unwrap();
            assert!((found - stripe.from).abs() < 0.03, "{found} {stripe:?}");
        }
        for film in &truth.films {
            for edge in [film.top.left, film.bottom.left] {
                let found = crossing(&|v| green(18.0, v), edge).unwrap();
                assert!((found - edge).abs() < 0.03, "{found} {film:?}");
            }
        }
        // Turned about its middle, which lies on a known point of the page.
        let [left, right] = [truth.corners[0], truth.corners[1]];
        assert!(
            ((right[1] - left[1]) / (right[0] - left[0]) - 7.0_f64.to_radians().tan()).abs() < 1e-4
        );
    }

    #[test]
    fn the_same_scene_gives_the_same_bytes_and_another_seed_others() {
        let scene = crate::simulate::trials::scene(5, 100.0);
        let first = render(&scene).bytes().unwrap();
        assert!(first == render(&scene).bytes().unwrap());
        let other = Scene { seed: 6, ..scene };
        assert!(first != render(&other).bytes().unwrap());
    }

    #[test]
    fn exposure_clips_and_a_dull_surface_lifts_the_dark() {
        let mut scene = plain("hearth black");
        scene.cards[0].films[1].build = 3.0;
        let glossy = render(&scene);
        scene.cards[0].haze = 0.03;
        scene.scanner.exposure = 1.4;
        let dull = render(&scene);
        let curve = Space::Srgb.curve();
        let dark = |r: &Rendered| mean_linear(&scene, r, 0, 1, |e| curve.decode(e))[1];
        assert!(
            dark(&dull) / 1.4 - dark(&glossy) > 0.025,
            "{} {}",
            dark(&dull),
            dark(&glossy)
        );
        assert!(dull.encoded.iter().filter(|v| **v >= 1.0).count() > 1000);
    }
}
