//! Printed cards rasterised from their own SVG, painted with simulated films, disturbed, and read back.

use resvg::{tiny_skia, usvg};

use super::*;
use crate::{
    card::Ground,
    colour,
    reading::{self, Answers},
    scan::{Origin, Pixels, Profile, Scan},
    simulate::{
        paints,
        shades::{Directions, Light},
    },
    spectrum::{self, BANDS},
};

/// Reflectance of paper and ink, measured through their surface.
const PAPER: f64 = 0.84;
const INK: f64 = 0.045;

/// How a card is scanned.
struct Scanned {
    dpi: f64,
    degrees: f64,
    blur: usize,
    noise: f64,
    /// Shift of the picture's right corners, as a share of its height: a phone held at a slant.
    slant: f64,
    paint: &'static str,
    /// Builds of films by lane; 0 leaves it bare.
    builds: [f64; 4],
    /// Corners whose code is covered by paint.
    covered: Vec<usize>,
    /// Squares for colours that are painted, thickly.
    squares: Vec<usize>,
    /// Share of light that a white surround adds, over some 10 mm around.
    glare: f64,
    /// How far the film of lane 2 is pulled below it.
    stray: f64,
    /// Power of the printer's greys: above 1 its dots come out too large.
    gain: f64,
    /// Shares of the encoded values that the scanner's driver takes for black and for white.
    levels: [f64; 2],
}

impl Scanned {
    fn plain(paint: &'static str) -> Self {
        Self {
            dpi: 200.0,
            degrees: 0.0,
            blur: 0,
            noise: 0.0,
            slant: 0.0,
            paint,
            builds: [0.4, 1.0, 2.2, 0.8],
            covered: Vec::new(),
            squares: Vec::new(),
            glare: 0.0,
            stray: 0.0,
            gain: 1.0,
            levels: [0.0, 1.0],
        }
    }
}

/// Greys of a sheet as printed, 0 ink to 1 paper, at so many pixels in a mm.
fn raster(svg: &str, per_mm: f64) -> (usize, usize, Vec<f64>) {
    let tree = usvg::Tree::from_str(svg, &usvg::Options::default()).expect("it is SVG");
    // usvg counts 96 pixels an inch.
    let factor = (per_mm * 25.4 / 96.0) as f32;
    let size = tree.size();
    let [width, height] = [size.width(), size.height()].map(|v| (v * factor).round() as u32);
    let mut pixmap = tiny_skia::Pixmap::new(width, height).expect("a picture");
    resvg::render(
        &tree,
        tiny_skia::Transform::from_scale(factor, factor),
        &mut pixmap.as_mut(),
    );
    let grey = pixmap
        .pixels()
        .iter()
        .map(|p| colour::decode_srgb(f64::from(p.green()) / 255.0));
    (width as usize, height as usize, grey.collect())
}

/// A scan of the A5 sheet of card 42.
fn scan(how: &Scanned, label: &str) -> Scan {
    let per_mm = how.dpi / 25.4;
    let svg = sheet(Paper::A5, Side::Front, 42, &[label.to_owned()]).unwrap();
    // Drawn finer than it is scanned, so that turning it does not blur it twice.
    let fine = 1.5 * per_mm;
    let (w, h, mut grey) = raster(&svg, fine);
    grey.iter_mut().for_each(|g| *g = g.powf(how.gain));
    let [left, top] = Paper::A5.places()[0];
    let light = Light {
        anisotropy: 0.4,
        directions: Directions::Eight,
    };
    let paint = paints::named(how.paint).expect("an invented paint");
    // Colours of every film over every grey between ink and paper.
    const STEPS: usize = 24;
    let shade = |build: f64| -> Vec<[f64; 3]> {
        (0..=STEPS)
            .map(|i| {
                let ground = [INK + (PAPER - INK) * i as f64 / STEPS as f64; BANDS];
                let seen = if build > 0.0 {
                    light.film_over(&paint, build, &ground)
                } else {
                    ground
                };
                let xyz = spectrum::xyz_of(&seen);
                linear_srgb([xyz.x, xyz.y, xyz.z])
            })
            .collect()
    };
    let films: Vec<Vec<[f64; 3]>> = how.builds.iter().map(|&build| shade(build)).collect();
    let bare = shade(0.0);
    let cover = shade(6.0);
    let seen = |x: f64, y: f64| -> [f64; 3] {
        let at = |v: f64, n: usize| (v * fine - 0.5).clamp(0.0, (n - 1) as f64);
        let (fx, fy) = (at(x, w), at(y, h));
        let (x0, y0) = (fx as usize, fy as usize);
        let (x1, y1) = ((x0 + 1).min(w - 1), (y0 + 1).min(h - 1));
        let mix = |a: f64, b: f64, t: f64| a + (b - a) * t;
        let g = mix(
            mix(grey[y0 * w + x0], grey[y0 * w + x1], fx.fract()),
            mix(grey[y1 * w + x0], grey[y1 * w + x1], fx.fract()),
            fy.fract(),
        );
        let (u, v) = (x - left, y - top);
        let film = LANES.iter().enumerate().position(|(i, [from, tall])| {
            let down = if i == 1 { how.stray } else { 0.0 };
            how.builds[i] > 0.0
                && (STRIPED[0] - 6.0..STRIPED[0] + STRIPED[2] + 5.0).contains(&u)
                && (from + down + 0.8..from + down + tall - 0.8).contains(&v)
        });
        let spoilt = how.covered.iter().any(|&corner| {
            let [cx, cy] = CODES[corner];
            (cx + 2.0..cx + 16.0).contains(&u) && (cy + 6.0..cy + CODE).contains(&v)
        });
        let square = how.squares.iter().any(|&i| {
            let [x, y] = [COLOUR_AT[0] + COLOUR_STEP * i as f64, COLOUR_AT[1]];
            (x..x + COLOUR_SIZE[0]).contains(&u) && (y..y + COLOUR_SIZE[1]).contains(&v)
        });
        let table = if spoilt || square {
            &cover
        } else {
            film.map_or(&bare, |i| &films[i])
        };
        let place = g * STEPS as f64;
        let low = (place as usize).min(STEPS - 1);
        std::array::from_fn(|c| mix(table[low][c], table[low + 1][c], place - low as f64))
    };
    let [width, height] = [210.0, 148.0].map(|mm| (mm * per_mm) as usize);
    let (sin, cos) = how.degrees.to_radians().sin_cos();
    let mut linear = vec![[0.0; 3]; width * height];
    for (i, pixel) in linear.iter_mut().enumerate() {
        let [px, py] = [i % width, i / width].map(|v| (v as f64 + 0.5) / per_mm);
        // Perspective about the middle, then the turn.
        let (dx, dy) = (px - 105.0, py - 74.0);
        let depth = 1.0 + how.slant * dx / 105.0;
        let (dx, dy) = (dx * depth, dy * depth);
        let (x, y) = (105.0 + cos * dx + sin * dy, 74.0 - sin * dx + cos * dy);
        *pixel = if (0.0..210.0).contains(&x) && (0.0..148.0).contains(&y) {
            seen(x, y)
        } else {
            [0.7; 3]
        };
    }
    if how.glare > 0.0 {
        stray_light(&mut linear, width, how.glare, 10.0 * per_mm);
    }
    for _ in 0..how.blur {
        let old = linear.clone();
        for y in 1..height - 1 {
            for x in 1..width - 1 {
                let around = [
                    (0, 0),
                    (0, 1),
                    (0, 2),
                    (1, 0),
                    (1, 1),
                    (1, 2),
                    (2, 0),
                    (2, 1),
                    (2, 2),
                ];
                linear[y * width + x] = std::array::from_fn(|c| {
                    around
                        .iter()
                        .map(|(i, j)| old[(y + i - 1) * width + x + j - 1][c])
                        .sum::<f64>()
                        / 9.0
                });
            }
        }
    }
    // A small linear congruential sequence (Knuth's MMIX constants).
    let mut state: u64 = 7;
    let mut random = || {
        state = state
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (state >> 40) as f64 / (1 << 23) as f64 - 1.0
    };
    let codes = linear
        .iter()
        .flat_map(|rgb| {
            rgb.map(|v| {
                let v = v + how.noise * (random() + random()) * v.max(0.02).sqrt();
                let [black, white] = how.levels;
                let encoded = (colour::encode_srgb(v.clamp(0.0, 1.0)) - black) / (white - black);
                (65_535.0 * encoded.clamp(0.0, 1.0)).round() as u16
            })
        })
        .collect();
    Scan {
        width,
        height,
        pixels: Pixels::Sixteen(codes),
        profile: Profile::srgb(),
        origin: Origin {
            file_name: "card.png".into(),
            depth: 16,
            dpi: Some(how.dpi),
            ..Origin::default()
        },
    }
}

/// Every pixel brighter by a share of the mean of a square around it, as in a scanner whose glass and lid send light back.
fn stray_light(linear: &mut [[f64; 3]], width: usize, share: f64, reach: f64) {
    let height = linear.len() / width;
    // Sums over everything above and to the left.
    let mut sums = vec![0.0; (width + 1) * (height + 1)];
    for y in 0..height {
        for x in 0..width {
            let at = |dx: usize, dy: usize| sums[(y + dy) * (width + 1) + x + dx];
            sums[(y + 1) * (width + 1) + x + 1] =
                linear[y * width + x][1] + at(0, 1) + at(1, 0) - at(0, 0);
        }
    }
    let reach = reach as usize;
    for y in 0..height {
        for x in 0..width {
            let [x0, y0] = [x.saturating_sub(reach), y.saturating_sub(reach)];
            let [x1, y1] = [(x + reach).min(width), (y + reach).min(height)];
            let at = |x: usize, y: usize| sums[y * (width + 1) + x];
            let mean = (at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0))
                / ((x1 - x0) * (y1 - y0)) as f64;
            linear[y * width + x] = linear[y * width + x].map(|v| v * (1.0 + share * mean));
        }
    }
}

/// XYZ (D50) to linear sRGB: the inverse of the ICC's matrix for sRGB (IEC 61966-2-1, adapted by Bradford).
fn linear_srgb([x, y, z]: [f64; 3]) -> [f64; 3] {
    [
        3.133_856_1 * x - 1.616_866_7 * y - 0.490_614_6 * z,
        -0.978_768_4 * x + 1.916_141_5 * y + 0.033_454_0 * z,
        0.071_945_3 * x - 0.228_991_4 * y + 1.405_242_7 * z,
    ]
}

#[track_caller]
fn read(how: &Scanned, label: &str) -> (Found, Scan) {
    let scan = scan(how, label);
    let mut found = find(&scan).expect("a card");
    assert_eq!(found.len(), 1);
    (found.remove(0), scan)
}

#[track_caller]
fn assert_squared(found: &Found, films: usize) {
    let printed = found.printed.as_ref().expect("its codes are read");
    assert!(printed.squared, "{printed:?}");
    assert_eq!(printed.number, 42);
    let layout = &found.layout;
    assert!(
        layout.millimetres && layout.doubts.is_empty(),
        "{:?}",
        layout.doubts
    );
    assert_eq!((layout.stripes.len(), layout.films.len()), (STRIPES, films));
    for (i, stripe) in layout.stripes.iter().enumerate() {
        assert_eq!(
            stripe.ground,
            if i % 2 == 0 {
                Ground::White
            } else {
                Ground::Black
            }
        );
        assert!(
            (stripe.from - STRIPE * i as f64).abs() < 0.5,
            "stripe {i} at {}",
            stripe.from
        );
    }
    for film in &layout.films {
        let top = 0.5 * (film.top.left + film.top.right) + STRIPED[1];
        let near = LANES
            .iter()
            .map(|lane| (lane[0] + 0.8 - top).abs())
            .fold(f64::MAX, f64::min);
        assert!(near < 0.8, "a film begins at {top}");
    }
}

#[test]
fn marks_are_written_and_read_and_a_label_is_cut_at_a_letter() {
    for label in [
        "",
        "Rose 1",
        "a:b:c",
        "Ääääääääääääääääääääääääääääääääää",
        "塗料".repeat(12).as_str(),
    ] {
        let mark = Mark {
            number: 9_999_999,
            corner: 3,
            label: label.to_owned(),
        };
        let text = mark.write();
        assert!(text.len() <= CAPACITY);
        let back = Mark::read(&text).expect("its own text");
        assert!(label.starts_with(&back.label) && back.number == mark.number && back.corner == 3);
        assert_eq!(in_code(9_999_999, label), back.label);
    }
    for other in ["", "https://example.org", "2G1:x:0:", "2G1:1:4:", "2G1:1"] {
        assert_eq!(Mark::read(other), None, "{other}");
    }
}

proptest::proptest! {
    /// Any text of a code is a card's mark or none; its label has nothing that writes backwards or that nobody sees.
    #[test]
    fn any_text_is_a_mark_or_none(text in proptest::prop_oneof!["\\PC{0,42}", "2G1:[0-9]{0,12}:[0-9]{0,3}:.{0,30}", "2G1:1:1:[\\x00-\\x1f\u{200b}-\u{2069}a-z]{0,20}"]) {
        if let Some(mark) = Mark::read(&text) {
            proptest::prop_assert!(mark.corner < 4 && !mark.label.chars().any(is_unseen));
            let again = Mark::read(&mark.write());
            proptest::prop_assert_eq!(again.map(|again| again.number), Some(mark.number));
        }
    }
}

#[test]
fn sheets_are_of_true_size_and_hold_no_markup_of_a_label() {
    for (paper, words) in [
        (
            Paper::A4,
            r#"width="210mm" height="297mm" viewBox="0 0 210 297""#,
        ),
        (
            Paper::A5,
            r#"width="210mm" height="148mm" viewBox="0 0 210 148""#,
        ),
        (
            Paper::Letter,
            r#"width="215.9mm" height="279.4mm" viewBox="0 0 215.9 279.4""#,
        ),
    ] {
        for side in [Side::Front, Side::Back] {
            let label = "</svg><script>alert(1)</script>&".to_owned();
            let svg = sheet(paper, side, 1, &[label.clone(), label]).unwrap();
            assert!(svg.contains(words), "{svg}");
            assert!(!svg.contains("<script") && !svg.contains("style="));
            usvg::Tree::from_str(&svg, &usvg::Options::default()).expect("it is SVG");
            // Nothing is drawn nearer to the edge than printers reach (4.3 mm is common; from memory).
            for [x, y] in paper.places() {
                let [w, h] = paper.size();
                assert!(x >= 5.0 && y >= 5.0 && x + SIZE[0] <= w - 5.0 && y + SIZE[1] <= h - 5.0);
            }
        }
    }
    assert!(sheet(Paper::A5, Side::Front, 10_000_000, &[String::new()]).is_err());
    // As many cards as labels, empty ones too.
    for cards in [1, 2] {
        let svg = sheet(Paper::A4, Side::Back, 5, &vec![String::new(); cards]).unwrap();
        let has = |number: u32| svg.contains(&format!("Card {number:04}"));
        assert!(has(5) && has(6) == (cards == 2), "{svg}");
    }
}

#[test]
fn a_printed_card_is_read_with_number_label_and_its_films() {
    let how = Scanned::plain("rose lake");
    let (found, scan) = read(&how, "Rose of the harbour");
    assert_squared(&found, 4);
    let printed = found.printed.as_ref().unwrap();
    assert_eq!(
        (printed.codes, printed.label.as_str()),
        (4, "Rose of the harbour")
    );
    let brushed: Vec<bool> = found.layout.films.iter().map(|film| film.brushed).collect();
    assert_eq!(brushed, [false, false, false, true]);
    assert!(
        (printed.scale.unwrap() - 1.0).abs() < 0.003,
        "{:?}",
        printed.scale
    );
    assert!(printed.glare.unwrap().abs() < 0.01 && printed.squares.is_empty());
    let mut record = reading::read_card(&scan, &found.layout, &Answers::default())
        .unwrap()
        .record;
    printed.inscribe(&found.layout, &mut record);
    assert_eq!(record.paint.name, "Rose of the harbour");
    assert_eq!(record.provenance.card_number, Some(42));
    // Builds as they were laid, in units of the reference film.
    let reference = how.builds[record.reference_film];
    for (film, build) in record.films.iter().zip(how.builds) {
        assert!(
            (film.build / (build / reference) - 1.0).abs() < 0.15,
            "{:?}",
            record.films
        );
    }
    assert!(
        record
            .findings
            .iter()
            .any(|finding| finding.code == "brushed-coat")
    );
}

#[test]
fn it_is_read_turned_blurred_noisy_slanted_and_at_any_resolution() {
    let plain = || Scanned::plain("storm blue");
    let cases = [
        (
            "150 dpi",
            Scanned {
                dpi: 150.0,
                blur: 1,
                noise: 0.01,
                ..plain()
            },
        ),
        (
            "300 dpi",
            Scanned {
                dpi: 300.0,
                degrees: 4.0,
                noise: 0.02,
                ..plain()
            },
        ),
        (
            "600 dpi",
            Scanned {
                dpi: 600.0,
                degrees: -1.5,
                noise: 0.02,
                ..plain()
            },
        ),
        (
            "upside down",
            Scanned {
                degrees: 180.0,
                ..plain()
            },
        ),
        (
            "turned a little",
            Scanned {
                degrees: -7.0,
                blur: 2,
                ..plain()
            },
        ),
        (
            "slanted",
            Scanned {
                slant: 0.06,
                degrees: 2.0,
                dpi: 250.0,
                ..plain()
            },
        ),
    ];
    for (name, how) in cases {
        eprintln!("{name}");
        let (found, _) = read(&how, "");
        assert_squared(&found, 4);
    }
}

#[test]
fn a_covered_code_does_no_harm_and_without_codes_the_card_is_found_unmarked() {
    for covered in [vec![0], vec![2], vec![1, 3]] {
        let (found, _) = read(
            &Scanned {
                covered,
                degrees: 3.0,
                ..Scanned::plain("kelp green")
            },
            "",
        );
        assert_squared(&found, 4);
    }
    let (found, _) = read(
        &Scanned {
            covered: vec![0, 1, 2, 3],
            ..Scanned::plain("kelp green")
        },
        "",
    );
    assert_eq!(found.printed, None);
    assert_eq!(found.layout.films.len(), 4);
    let blacks = found
        .layout
        .stripes
        .iter()
        .filter(|stripe| stripe.ground == Ground::Black);
    assert_eq!(blacks.count(), 2);
}

#[test]
fn fewer_films_are_found_and_what_lies_where_no_lane_is_counts_as_it_is_seen() {
    let (found, _) = read(
        &Scanned {
            builds: [0.0, 1.0, 0.0, 0.0],
            ..Scanned::plain("lantern gold")
        },
        "",
    );
    assert_squared(&found, 1);
    assert!(!found.layout.films[0].brushed);
    // A film between two lanes: the layout of the print does not hold, what is seen does.
    let (found, _) = read(
        &Scanned {
            stray: 12.0,
            builds: [0.4, 1.0, 0.0, 0.8],
            ..Scanned::plain("lantern gold")
        },
        "",
    );
    let printed = found.printed.expect("its codes are read");
    assert!(!printed.squared);
    assert_eq!(found.layout.films.len(), 3);
}

/// How many cards are disturbed at random in one run. Many more with `TWOGROUND_PRINTS=100`.
fn prints() -> u64 {
    std::env::var("TWOGROUND_PRINTS").map_or(5, |text| text.parse().expect("a number"))
}

#[test]
fn cards_disturbed_at_random_are_squared_within_half_a_millimetre() {
    let (mut worst, mut wrong): (Vec<f64>, Vec<String>) = Default::default();
    for seed in 0..prints() {
        let mut state = seed.wrapping_mul(0x9e37_79b9_7f4a_7c15).wrapping_add(1);
        let mut random = |from: f64, to: f64| {
            state = state
                .wrapping_mul(6_364_136_223_846_793_005)
                .wrapping_add(1_442_695_040_888_963_407);
            from + (to - from) * (state >> 40) as f64 / (1_u64 << 24) as f64
        };
        let how = Scanned {
            dpi: random(150.0, 260.0),
            degrees: random(-4.0, 4.0) + if random(0.0, 1.0) < 0.4 { 180.0 } else { 0.0 },
            slant: random(-0.04, 0.04),
            blur: random(0.0, 2.9) as usize,
            noise: random(0.0, 0.02),
            glare: random(0.0, 0.15),
            covered: if random(0.0, 1.0) < 0.5 {
                vec![random(0.0, 3.99) as usize]
            } else {
                Vec::new()
            },
            ..Scanned::plain(
                [
                    "rose lake",
                    "storm blue",
                    "kelp green",
                    "foam white",
                    "dense red",
                ][(seed % 5) as usize],
            )
        };
        let (found, _) = read(&how, "");
        let squared = found
            .printed
            .as_ref()
            .is_some_and(|printed| printed.squared);
        if !squared || found.layout.films.len() != 4 || !found.layout.doubts.is_empty() {
            wrong.push(format!(
                "{seed}: {:?}, {} films, {:?}, {} dpi, blur {}, covered {:?}",
                found.printed,
                found.layout.films.len(),
                found.layout.doubts,
                how.dpi,
                how.blur,
                how.covered
            ));
            continue;
        }
        let stripes = found.layout.stripes.iter().enumerate();
        worst.push(
            stripes
                .map(|(i, s)| (s.from - STRIPE * i as f64).abs())
                .fold(0.0, f64::max),
        );
    }
    worst.sort_by(f64::total_cmp);
    eprintln!(
        "{} squared; stripes off by at most {:.2} mm at the median, {:.2} mm at worst",
        worst.len(),
        worst[worst.len() / 2],
        worst[worst.len() - 1]
    );
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    assert!(worst[worst.len() - 1] < 0.5);
}

#[test]
fn glare_is_read_from_the_chips_and_colours_from_the_squares() {
    let how = Scanned {
        glare: 0.15,
        squares: vec![0, 3],
        ..Scanned::plain("grey earth")
    };
    let (found, _) = read(&how, "");
    assert_squared(&found, 4);
    let printed = found.printed.unwrap();
    // White within white has mostly white around it, white within black mostly black.
    let glare = printed.glare.unwrap();
    assert!((0.03..0.12).contains(&glare), "{glare}");
    // Colours without glare: it brightens dark squares beside white.
    let how = Scanned { glare: 0.0, ..how };
    let printed = read(&how, "").0.printed.unwrap();
    assert!(printed.glare.unwrap().abs() < 0.01);
    let light = Light {
        anisotropy: 0.4,
        directions: Directions::Eight,
    };
    let thick = light.film_over(&paints::named(how.paint).unwrap(), 6.0, &[PAPER; BANDS]);
    let expected = colour::lab(spectrum::xyz_of(&thick));
    assert_eq!(printed.squares.len(), 2);
    for square in printed.squares {
        let [x, y, z] = square.xyz;
        let off = colour::difference(colour::lab(colour::Xyz::new(x, y, z)), expected);
        assert!(off < 1.5, "{off}");
        assert!(square.xyz_sd.iter().all(|&sd| sd < 0.005), "{square:?}");
    }
}

/// A brushed coat is uneven, and every card's is another: whatever its depth, the card counts in a film that was drawn.
#[test]
fn a_brushed_coat_is_never_what_the_card_counts_in() {
    for (builds, reference) in [
        ([0.4, 1.0, 2.2, 0.8], 1),
        ([0.4, 0.0, 2.2, 0.8], 0),
        ([0.0, 1.0, 0.0, 0.4], 0),
        // Alone on its card there is no other.
        ([0.0, 0.0, 0.0, 1.0], 0),
    ] {
        let how = Scanned {
            builds,
            ..Scanned::plain("grey earth")
        };
        let (found, scan) = read(&how, "");
        let laid: Vec<f64> = builds.into_iter().filter(|&build| build > 0.0).collect();
        assert_squared(&found, laid.len());
        let mut record = reading::read_card(&scan, &found.layout, &Answers::default())
            .unwrap()
            .record;
        assert_eq!(record.reference_film, reference, "{builds:?}");
        assert_eq!(record.films[reference].build, 1.0);
        found.printed.unwrap().inscribe(&found.layout, &mut record);
        let said = |record: &crate::paint::Record| {
            let all = record.findings.iter();
            let mut all = all.filter(|finding| finding.code == "brushed-coat");
            all.next().expect("it is said").words.clone()
        };
        let last = laid.len();
        let expected = match last {
            1 => "and the only film here".to_owned(),
            _ => format!("Film {last} is one coat as you brush it: "),
        };
        assert!(said(&record).contains(&expected), "{}", said(&record));
        // Read again from its file it counts in the same film, which pictures go by: also in one that older readings took.
        for unit in 0..last {
            let mut older = record.clone();
            older.reference_film = unit;
            let again = reading::again(&older).unwrap();
            assert_eq!(again.reference_film, unit);
            assert_eq!(again.films[unit].build, 1.0);
        }
    }
}

/// Grey steps are a witness of their own where lights or darks were cut, and of nothing else: printers differ.
#[test]
fn grey_steps_that_ran_together_are_said_and_a_printers_own_greys_are_not() {
    let told = |how: &Scanned| {
        let (found, scan) = read(how, "");
        let mut record = reading::read_card(&scan, &found.layout, &Answers::default())
            .unwrap()
            .record;
        let printed = found.printed.expect("its codes are read");
        printed.inscribe(&found.layout, &mut record);
        let said = record.findings.iter();
        let said = said.filter(|finding| finding.code == "grey-steps");
        let said: Vec<String> = said.map(|finding| finding.words.clone()).collect();
        (printed.greys, said)
    };
    let plain = || Scanned::plain("rose lake");
    for (name, how) in [
        ("as sent", plain()),
        (
            "dots too large",
            Scanned {
                gain: 2.2,
                ..plain()
            },
        ),
        (
            "dots too small",
            Scanned {
                gain: 0.6,
                ..plain()
            },
        ),
        (
            "noise, blur and glare",
            Scanned {
                noise: 0.02,
                blur: 2,
                glare: 0.15,
                ..plain()
            },
        ),
    ] {
        let (greys, said) = told(&how);
        let greys = greys.expect("they are bare");
        assert!(
            greys.is_sorted_by(|one, next| one > next),
            "{name}: {greys:?}"
        );
        assert!(said.is_empty(), "{name}: {said:?}, {greys:?}");
    }
    for (levels, which) in [
        ([0.0, 0.78], "The lightest grey steps"),
        ([0.46, 1.0], "The darkest grey steps"),
    ] {
        let (greys, said) = told(&Scanned { levels, ..plain() });
        assert_eq!(said.len(), 1, "{levels:?}: {greys:?}");
        assert!(
            said[0].contains(which) && said[0].contains("card 0042"),
            "{said:?}"
        );
    }
}

/// Squares are shown by the card's own tones, like its films, and with what is uncertain about them: pixels, scanner, and a white
/// that was guessed.
#[test]
fn squares_go_by_the_tones_of_their_card() {
    let how = Scanned {
        squares: vec![1],
        noise: 0.002,
        ..Scanned::plain("grey earth")
    };
    let light = Light {
        anisotropy: 0.4,
        directions: Directions::Eight,
    };
    let thick = light.film_over(&paints::named(how.paint).unwrap(), 6.0, &[PAPER; BANDS]);
    let expected = colour::lab(spectrum::xyz_of(&thick));
    let plain = scan(&how, "");
    let shown = |exposure: f64| {
        let mut picture = image::ImageBuffer::<image::Rgb<u16>, Vec<u16>>::new(
            plain.width as u32,
            plain.height as u32,
        );
        for (x, y, pixel) in picture.enumerate_pixels_mut() {
            let code = plain.code(x as usize, y as usize);
            pixel.0 = code.map(|v| {
                let linear = colour::decode_srgb(f64::from(v) / 65_535.0);
                (65_535.0 * colour::encode_srgb(exposure * linear)).round() as u16
            });
        }
        let mut png = std::io::Cursor::new(Vec::new());
        picture
            .write_to(&mut png, image::ImageFormat::Png)
            .expect("a picture is written");
        let mut open =
            crate::page::OpenScan::new(png.get_ref(), "card.png", String::new(), false).unwrap();
        open.find();
        open.sample();
        open.fit();
        let printed = open.view().unwrap().printed.expect("a printed card");
        assert_eq!((printed.number, printed.colours.len()), (42, 1));
        printed.colours[0].clone()
    };
    let off = |lab: [f64; 3]| {
        let [l, a, b] = lab;
        colour::difference(colour::Lab::new(l, a, b), expected)
    };
    let usual = shown(1.0);
    assert!(off(usual.lab) < 1.5, "{usual:?} {expected:?}");
    // A scanner's usual errors at least.
    let device = crate::picture::pick::device_sd(false, true);
    assert!((0..3).all(|i| usual.lab_sd[i] >= device[i]));
    assert!(usual.lab_sd[0] < 3.0, "{usual:?}");
    // Scanned darker than white stripes are: most of that is taken off again, and what is left is in the spread.
    let dark = shown(0.7);
    let as_seen = colour::lab(colour::Xyz::new(
        0.7 * colour::xyz(expected).x,
        0.7 * colour::xyz(expected).y,
        0.7 * colour::xyz(expected).z,
    ));
    let [l, a, b] = dark.lab;
    assert!(
        colour::difference(as_seen, colour::Lab::new(l, a, b)) > 2.5,
        "{dark:?} {as_seen:?}"
    );
    assert!(off(dark.lab) < 2.5, "{dark:?} {expected:?}");
    assert!(dark.lab_sd[0] > usual.lab_sd[0]);
}

#[test]
fn both_cards_of_a_sheet_are_told_apart_by_number() {
    let svg = sheet(Paper::A4, Side::Front, 7, &["one".into(), "two".into()]).unwrap();
    let (width, height, grey) = raster(&svg, 150.0 / 25.4);
    let codes = grey
        .iter()
        .flat_map(|&g| {
            [(65_535.0 * colour::encode_srgb(INK + (PAPER - INK) * g)).round() as u16; 3]
        })
        .collect();
    let scan = Scan {
        width,
        height,
        pixels: Pixels::Sixteen(codes),
        profile: Profile::srgb(),
        origin: Origin {
            depth: 16,
            dpi: Some(150.0),
            ..Origin::default()
        },
    };
    let found = find(&scan).unwrap();
    let told: Vec<_> = found
        .iter()
        .map(|card| {
            card.printed
                .as_ref()
                .map(|p| (p.number, p.label.as_str(), p.squared))
        })
        .collect();
    assert_eq!(told, [Some((7, "one", true)), Some((8, "two", true))]);
    assert!(found.iter().all(|card| card.layout.films.is_empty()));
}

#[test]
fn a_card_alone_on_a_large_glass_is_one_card() {
    let card = scan(
        &Scanned {
            degrees: 2.0,
            dpi: 150.0,
            ..Scanned::plain("rose lake")
        },
        "alone",
    );
    let (width, height) = (1240, 1754);
    let mut codes = vec![56_000_u16; 3 * width * height];
    let Pixels::Sixteen(own) = &card.pixels else {
        unreachable!("it is made of 16 bits")
    };
    for (y, row) in own
        .chunks_exact(3 * card.width)
        .enumerate()
        .take(height - 300)
    {
        let from = 3 * ((y + 300) * width);
        let wide = row.len().min(3 * width);
        codes[from..from + wide].copy_from_slice(&row[..wide]);
    }
    let found = find(&Scan {
        width,
        height,
        pixels: Pixels::Sixteen(codes),
        ..card
    })
    .unwrap();
    assert_eq!(found.len(), 1, "{found:?}");
    assert_squared(&found[0], 4);
}
