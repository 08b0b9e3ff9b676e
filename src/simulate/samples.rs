//! The sample scans: invented paints of an invented harbour studio.

use super::{
    marks::Mark,
    paints,
    scene::{Card, Edges, File, FileKind, Film, Page, Scanner, Scene, Stripe},
    sensor::Kind,
    shades::{Directions, Light},
    space::Space,
};
use crate::{
    card::Ground,
    spectrum::{BANDS, Bands, wavelengths},
};

/// One sample scan.
#[derive(Debug, Clone)]
pub struct Sample {
    /// File name without its extension.
    pub stem: &'static str,
    /// What it shows, for the README beside the samples.
    pub shows: &'static str,
    /// The scene.
    pub scene: Scene,
}

impl Sample {
    /// File name of the scan.
    pub fn file_name(&self) -> String {
        format!("{}.{}", self.stem, self.scene.file.kind.extension())
    }
}

/// All sample scans, the clear glaze first.
pub fn samples() -> Vec<Sample> {
    vec![
        lantern_gold(),
        grey_earth(),
        cliff_rose(),
        foam_white(),
        kelp_green(),
        net_brown(),
        storm_blue(),
        weed_amber(),
        three_cards(),
    ]
}

fn lantern_gold() -> Sample {
    let stripes = stripes(Ground::Black, &[14.0, 14.0, 14.0, 14.0]);
    let films = vec![
        knife(film(0.45, 8.0, 22.0, 56.0)),
        knife(film(1.0, 31.0, 46.0, 56.0)),
        knife(film(2.1, 55.0, 71.0, 56.0)),
    ];
    let mut card = card("lantern gold", stripes, films, 80.0, [7.0, 12.0, 8.0, 7.0]);
    card.marks = vec![written("lantern gold, linen", [2.0, -3.5], 4.2)];
    card.rotation = -1.2;
    Sample {
        stem: "lantern-gold",
        shows: "a clear golden glaze whose films lie outside sRGB: 16-bit TIFF with a wide-gamut profile",
        scene: scene(
            1,
            0.6,
            card,
            [80.0, 108.0],
            150.0,
            file(Space::Romm, FileKind::Tiff16),
        ),
    }
}

fn grey_earth() -> Sample {
    let stripes = stripes(Ground::White, &[16.0, 15.0, 16.0, 15.0, 16.0]);
    let films = vec![
        brushed(film(0.5, 10.0, 27.0, 78.0)),
        brushed(film(1.15, 37.0, 54.0, 78.0)),
        brushed(film(2.2, 64.0, 81.0, 78.0)),
    ];
    let mut card = card("grey earth", stripes, films, 94.0, [4.0, 14.0, 4.0, 8.0]);
    card.marks = vec![
        written("grey earth", [4.0, -4.5], 5.0),
        written("1 2 4 strokes", [48.0, -4.5], 3.4),
    ];
    card.rotation = 0.8;
    Sample {
        stem: "grey-earth",
        shows: "a veil: it greys the dark and hardly colours the light; brushed films",
        scene: scene(
            2,
            0.2,
            card,
            [104.0, 132.0],
            200.0,
            file(Space::Srgb, FileKind::Png8),
        ),
    }
}

fn cliff_rose() -> Sample {
    let stripes = stripes(Ground::Black, &[12.0, 12.0, 12.0, 12.0, 12.0, 12.0]);
    let films = vec![
        taped(film(1.9, 8.0, 24.0, 72.0)),
        taped(film(0.42, 33.0, 49.0, 72.0)),
        taped(film(0.95, 58.0, 74.0, 72.0)),
    ];
    let mut card = card("cliff rose", stripes, films, 84.0, [9.0, 12.0, 9.0, 9.0]);
    card.marks = vec![written("cliff rose / tape 1 2 4", [3.0, -3.5], 4.4)];
    card.rotation = 90.6;
    Sample {
        stem: "cliff-rose",
        shows: "a body colour that covers as drawn: lying on its side, films drawn between tape",
        scene: scene(
            3,
            0.6,
            card,
            [122.0, 106.0],
            150.0,
            file(Space::DisplayP3, FileKind::Png16),
        ),
    }
}

fn foam_white() -> Sample {
    let stripes = stripes(Ground::White, &[18.0, 18.0, 18.0, 18.0]);
    let films = vec![
        knife(film(0.22, 9.0, 26.0, 72.0)),
        knife(film(0.5, 36.0, 53.0, 72.0)),
        knife(film(1.1, 63.0, 80.0, 72.0)),
    ];
    let mut card = card("foam white", stripes, films, 92.0, [8.0, 13.0, 8.0, 8.0]);
    // White stripes painted on grey card: their outer edges show.
    card.paper = [0.36; BANDS];
    card.marks = vec![written("foam white thin to thick", [3.0, -4.0], 4.2)];
    card.rotation = 0.5;
    Sample {
        stem: "foam-white",
        shows: "a white: over white stripes it is nearly invisible; stripes painted on grey card",
        scene: scene(
            4,
            0.2,
            card,
            [106.0, 128.0],
            200.0,
            file(Space::Srgb, FileKind::Tiff8),
        ),
    }
}

fn kelp_green() -> Sample {
    let stripes = stripes(Ground::Black, &[15.0, 16.0, 15.0, 16.0]);
    let films = vec![
        knife(film(0.5, 9.0, 26.0, 62.0)),
        knife(film(1.05, 36.0, 52.0, 62.0)),
        knife(film(2.3, 61.0, 78.0, 62.0)),
    ];
    let mut card = card("kelp green", stripes, films, 88.0, [9.0, 13.0, 10.0, 9.0]);
    card.films[1].slant = 0.015;
    card.marks = vec![
        written("kelp green", [3.0, -4.0], 4.6),
        written("harbour studio 7", [14.0, 93.5], 3.0),
    ];
    card.rotation = 6.4;
    let mut scene = scene(
        5,
        0.6,
        card,
        [108.0, 132.0],
        200.0,
        file(Space::DisplayP3, FileKind::Jpeg(88)),
    );
    scene.scanner.dark_noise = 0.003;
    scene.scanner.light_noise = 0.009;
    scene.page.lid = [0.30; BANDS];
    Sample {
        stem: "kelp-green",
        shows: "a clear green glaze, turned by 6 degrees and noisy: JPEG on a grey lid",
        scene,
    }
}

fn net_brown() -> Sample {
    let stripes = stripes(Ground::White, &[13.0, 13.0, 13.0, 13.0, 13.0]);
    let films = vec![
        knife(film(1.9, 8.0, 23.0, 65.0)),
        knife(film(0.9, 32.0, 47.0, 65.0)),
        knife(film(0.4, 56.0, 71.0, 65.0)),
        knife(film(0.2, 80.0, 95.0, 65.0)),
    ];
    let mut card = card("net brown", stripes, films, 104.0, [8.0, 13.0, 8.0, 8.0]);
    for film in &mut card.films {
        film.streaks = 0.08;
        film.bubbles = 0.6;
    }
    card.marks = vec![
        written("net brown, batch 12", [3.0, -4.0], 4.4),
        Mark::Tape {
            centre: [-6.0, -9.0],
            size: [26.0, 11.0],
            angle: -40.0,
            colour: [0.74, 0.69, 0.50],
            cover: 1.0,
        },
    ];
    card.rotation = 181.5;
    let mut scene = scene(
        6,
        0.2,
        card,
        [106.0, 146.0],
        200.0,
        file(Space::Srgb, FileKind::Jpeg(92)),
    );
    scene.file.tagged = false;
    scene.scanner.glare = 0.08;
    scene.scanner.shading = [0.02, -0.015];
    scene.page.dust = 45.0;
    scene.page.hairs = 4;
    Sample {
        stem: "net-brown",
        shows: "a clear brown with dust, hairs, streaks and glare, upside down, four films, no profile",
        scene,
    }
}

fn storm_blue() -> Sample {
    let stripes = stripes(Ground::Black, &[10.0, 10.0, 10.0, 10.0, 10.0, 10.0, 10.0]);
    let films = vec![
        taped(film(0.5, 9.0, 25.0, 70.0)),
        taped(film(1.0, 35.0, 51.0, 70.0)),
        taped(film(2.0, 61.0, 77.0, 70.0)),
    ];
    let mut card = card("storm blue", stripes, films, 90.0, [8.0, 14.0, 8.0, 8.0]);
    card.marks = vec![written("storm blue 1:2", [3.0, -4.5], 5.0)];
    card.rotation = 269.2;
    let mut scene = scene(
        7,
        0.6,
        card,
        [130.0, 108.0],
        150.0,
        file(Space::Bt2020, FileKind::Png8),
    );
    scene.page.lid = [0.05; BANDS];
    Sample {
        stem: "storm-blue",
        shows: "a blue that glazes with a little milk: on its side under a black lid",
        scene,
    }
}

/// As scans come from a busy table: nothing wiped, an old lamp, a film pulled with a chipped edge.
fn weed_amber() -> Sample {
    let stripes = stripes(Ground::Black, &[13.0, 13.0, 13.0, 13.0, 13.0]);
    let films = vec![
        knife(film(0.45, 9.0, 25.0, 65.0)),
        knife(film(1.0, 35.0, 51.0, 65.0)),
        knife(film(2.0, 61.0, 77.0, 65.0)),
    ];
    let mut card = card("weed amber", stripes, films, 87.0, [8.0, 13.0, 8.0, 8.0]);
    for film in &mut card.films {
        film.streaks = 0.12;
        film.bubbles = 1.0;
    }
    card.marks = vec![written("weed amber", [3.0, -4.0], 4.4)];
    card.rotation = -3.4;
    let mut scene = scene(
        8,
        0.2,
        card,
        [106.0, 132.0],
        200.0,
        file(Space::Srgb, FileKind::Jpeg(90)),
    );
    scene.scanner.glare = 0.12;
    scene.scanner.shading = [-0.02, 0.015];
    scene.page.dust = 120.0;
    scene.page.hairs = 7;
    Sample {
        stem: "weed-amber",
        shows: "a clear amber under much dust, hairs, a glare of 12 % and streaks of 12 %",
        scene,
    }
}

fn three_cards() -> Sample {
    let small = |paint, first, builds: [f64; 3], words| {
        let films = [9.0, 34.0, 59.0].map(|from: f64| (from, from + 15.0));
        let films = films.iter().zip(builds);
        let films = films.map(|(&(from, to), build)| knife(film(build, from, to, 44.0)));
        let stripes = stripes(first, &[11.0, 11.0, 11.0, 11.0]);
        let mut card = card(paint, stripes, films.collect(), 83.0, [7.0, 12.0, 7.0, 7.0]);
        card.marks = vec![written(words, [1.0, -4.0], 4.0)];
        card
    };
    let mut cards = [
        small(
            "ink green",
            Ground::Black,
            [0.4, 0.9, 1.8],
            "ink green 1 2 4",
        ),
        small(
            "rope ochre",
            Ground::White,
            [0.45, 1.0, 2.1],
            "rope ochre 1 2 4",
        ),
        small(
            "dune yellow",
            Ground::Black,
            [2.0, 1.0, 0.5],
            "dune yellow 4 2 1",
        ),
    ];
    for (i, rotation) in [-1.6, 2.3, 0.7].into_iter().enumerate() {
        cards[i].rotation = rotation;
        cards[i].centre = [38.0 + 67.0 * i as f64, 60.0 + 2.5 * i as f64];
    }
    let [first, second, third] = cards;
    let mut scene = scene(
        9,
        0.6,
        first,
        [210.0, 122.0],
        200.0,
        file(Space::Romm, FileKind::Jpeg(92)),
    );
    scene.cards[0].centre = [38.0, 60.0];
    scene.cards.extend([second, third]);
    scene.page.lid = [0.55; BANDS];
    Sample {
        stem: "three-cards",
        shows: "three cards of three paints in one scan, a clear green, a slightly milky ochre and a covering yellow: each is read by itself",
        scene,
    }
}

/// A scene with the card in the middle of the page, on a white lid, through a good scanner.
fn scene(
    seed: u64,
    anisotropy: f64,
    mut card: Card,
    size: [f64; 2],
    dpi: f64,
    file: File,
) -> Scene {
    card.centre = middle(&card, size);
    Scene {
        seed,
        light: Light {
            anisotropy,
            directions: Directions::TwentyFour,
        },
        cards: vec![card],
        page: Page {
            size,
            dpi,
            lid: [0.83; BANDS],
            perspective: [[0.0; 2]; 4],
            dust: 4.0,
            hairs: 0,
        },
        scanner: Scanner {
            sensor: Kind::Ideal,
            blur: 0.55,
            dark_noise: 0.0008,
            light_noise: 0.003,
            ..Scanner::ideal()
        },
        file: File {
            dpi: Some(dpi),
            ..file
        },
    }
}

/// Where the striped area's middle must lie for the whole card to be in the middle of the page.
fn middle(card: &Card, size: [f64; 2]) -> [f64; 2] {
    let [left, top, right, bottom] = card.margins;
    let (x, y) = (0.5 * (left - right), 0.5 * (top - bottom));
    let angle = card.rotation.to_radians();
    let (sin, cos) = (libm::sin(angle), libm::cos(angle));
    [
        0.5 * size[0] + cos * x - sin * y,
        0.5 * size[1] + sin * x + cos * y,
    ]
}

fn card(
    paint: &str,
    stripes: Vec<Stripe>,
    films: Vec<Film>,
    length: f64,
    margins: [f64; 4],
) -> Card {
    let white = white();
    Card {
        paint: paints::named(paint).expect("a paint of the harbour studio"),
        centre: [0.0; 2],
        rotation: 0.0,
        stripes,
        length,
        margins,
        white,
        black: wavelengths().map(|nm| 0.036 + 0.004 * (nm - 400.0) / 300.0),
        paper: white,
        waviness: 0.05,
        smear: 0.0,
        films,
        haze: 0.0,
        glow: 0.0,
        sheet: 0.0,
        marks: Vec::new(),
        shadow: 0.18,
    }
}

/// A sealed white card, a little warm.
fn white() -> Bands {
    wavelengths().map(|nm| {
        0.845
            * (1.0
                - 0.05 / (1.0 + libm::exp((nm - 455.0) / 22.0))
                - 0.18 / (1.0 + libm::exp((nm - 410.0) / 7.0)))
    })
}

fn stripes(first: Ground, widths: &[f64]) -> Vec<Stripe> {
    let second = if first == Ground::White {
        Ground::Black
    } else {
        Ground::White
    };
    let ground = |i: usize| if i.is_multiple_of(2) { first } else { second };
    widths
        .iter()
        .enumerate()
        .map(|(i, &width)| Stripe {
            ground: ground(i),
            width,
        })
        .collect()
}

/// A film as a careful hand draws it: a little thinner towards the end of the pull, with faint streaks.
fn film(build: f64, from: f64, to: f64, width: f64) -> Film {
    Film {
        reach: [-3.2 - 0.4 * build, width + 3.0 + 0.7 * build],
        ragged_end: 0.8,
        along: -0.04,
        across: 0.02,
        streaks: 0.025,
        blotches: 0.012,
        ..Film::even(build, from, to, width)
    }
}

fn knife(film: Film) -> Film {
    Film {
        edges: Edges::Knife { bead: 0.35 },
        ..film
    }
}

fn taped(film: Film) -> Film {
    Film {
        edges: Edges::Taped { ridge: 0.4 },
        ..film
    }
}

fn brushed(film: Film) -> Film {
    Film {
        edges: Edges::Brushed { ragged: 0.22 },
        streaks: 0.05,
        ..film
    }
}

fn written(text: &str, at: [f64; 2], height: f64) -> Mark {
    Mark::Writing {
        text: text.into(),
        at,
        height,
        angle: -1.0,
        pen: 0.45,
        ink: 0.09,
    }
}

fn file(space: Space, kind: FileKind) -> File {
    File {
        space,
        tagged: true,
        kind,
        dpi: None,
    }
}

#[cfg(test)]
mod tests {
    use std::{fs, path::PathBuf};

    use super::*;
    use crate::simulate::render;

    fn in_folder(name: &str) -> PathBuf {
        PathBuf::from(env!("CARGO_MANIFEST_DIR"))
            .join("sample-scans")
            .join(name)
    }

    /// Rendering all of them takes long; the smallest stands for the rest.
    #[test]
    fn the_folder_holds_what_the_program_writes() {
        let sample = lantern_gold();
        let rendered = render(&sample.scene);
        let stale = "is not what this code renders: run `cargo run --example make_samples`";
        assert!(
            fs::read(in_folder(&sample.file_name())).unwrap() == rendered.bytes().unwrap(),
            "the scan {stale}"
        );
        let truth = fs::read_to_string(in_folder(&format!("{}.json", sample.stem))).unwrap();
        assert!(truth == rendered.truth.json(), "the truth {stale}");
    }

    #[test]
    fn every_sample_is_there_small_and_named_in_the_readme() {
        let readme = fs::read_to_string(in_folder("README.md")).unwrap();
        for sample in samples() {
            let size = fs::metadata(in_folder(&sample.file_name())).unwrap().len();
            assert!(size < 2_500_000, "{} has {size} bytes", sample.stem);
            assert!(readme.contains(&sample.file_name()) && readme.contains(sample.shows));
            assert_ne!(
                sample.scene.light.anisotropy, 0.4,
                "the fit's own anisotropy proves less"
            );
        }
        assert!(readme.contains("simulated"));
    }
}
