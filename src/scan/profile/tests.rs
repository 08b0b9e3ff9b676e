use proptest::prelude::*;

use super::*;
use crate::colour::Lab;

/// Made by `tests/data/scan/make_profiles.py`, values by Little CMS 2.19.
const REFERENCE: &str = include_str!("../../../tests/data/scan/profiles.csv");
/// IEC 61966-2-1, values and their making in the file's head.
const SRGB: &str = include_str!("../../../tests/data/srgb.csv");

fn icc(name: &str) -> &'static [u8] {
    match name {
        "matrix-srgb" => include_bytes!("../../../tests/data/scan/matrix-srgb.icc"),
        "matrix-wide" => include_bytes!("../../../tests/data/scan/matrix-wide.icc"),
        "matrix-mixed" => include_bytes!("../../../tests/data/scan/matrix-mixed.icc"),
        "table-16" => include_bytes!("../../../tests/data/scan/table-16.icc"),
        "table-8" => include_bytes!("../../../tests/data/scan/table-8.icc"),
        "table-mab" => include_bytes!("../../../tests/data/scan/table-mab.icc"),
        "grey" => include_bytes!("../../../tests/data/scan/grey.icc"),
        "cmyk" => include_bytes!("../../../tests/data/scan/cmyk.icc"),
        name => panic!("no profile {name}"),
    }
}

/// Rows of numbers of a file with comments and one line of names.
fn rows(text: &str) -> impl Iterator<Item = Vec<&str>> {
    text.lines()
        .filter(|line| !line.starts_with('#'))
        .skip(1)
        .map(|line| line.split(',').collect())
}

fn number(text: &str) -> f64 {
    text.parse()
        .unwrap_or_else(|_| panic!("{text:?} is not a number"))
}

/// Largest differences in XYZ, and in CIEDE2000, between a profile here and in Little CMS.
fn worst(name: &str) -> (f64, f64) {
    let profile = Profile::from_icc(icc(name)).unwrap();
    let (mut worst, mut seen) = (0.0_f64, 0.0_f64);
    let mut compared = 0;
    for row in rows(REFERENCE).filter(|row| row[0] == name) {
        let code = [1, 2, 3].map(|i| row[i].parse().unwrap());
        let xyz = profile.xyz(profile.additive_of(code));
        for (ours, theirs) in [xyz.x, xyz.y, xyz.z].into_iter().zip(&row[4..7]) {
            worst = worst.max((ours - number(theirs)).abs());
        }
        let theirs = Lab::new(number(row[7]), number(row[8]), number(row[9]));
        // Little CMS cuts what its Lab cannot encode: colours that no eye sees.
        if theirs.a.abs() < 127.0 && theirs.b.abs() < 127.0 {
            seen = seen.max(colour::difference(colour::lab(xyz), theirs));
        }
        compared += 1;
    }
    assert_eq!(compared, 120);
    (worst, seen)
}

#[test]
fn curves_and_matrix_agree_with_little_cms() {
    for name in ["matrix-srgb", "matrix-wide", "matrix-mixed"] {
        let (worst, seen) = worst(name);
        assert!(worst < 1e-5 && seen < 0.03, "{name}: {worst} {seen}");
    }
}

#[test]
fn tables_agree_with_little_cms() {
    for name in ["table-16", "table-8", "table-mab"] {
        let (worst, seen) = worst(name);
        assert!(worst < 5e-5 && seen < 0.06, "{name}: {worst} {seen}");
    }
}

#[test]
fn table_values_add_up_as_xyz_and_matrix_values_as_device_channels() {
    assert!(
        !Profile::from_icc(icc("table-16"))
            .unwrap()
            .additive_is_device()
    );
    assert_eq!(
        Profile::from_icc(icc("table-16")).unwrap().to_xyz()[1],
        [0.0, 1.0, 0.0]
    );
    assert!(Profile::srgb().additive_is_device());
}

#[test]
fn srgb_agrees_with_the_standard() {
    let profile = Profile::srgb();
    let mut compared = 0;
    for row in rows(SRGB) {
        let value: Vec<f64> = row.iter().map(|text| number(text)).collect();
        let additive = profile.additive([0, 1, 2].map(|i| (value[i] / 255.0) as f32));
        for i in 0..3 {
            assert!((additive[i] - value[3 + i]).abs() < 1e-7, "{row:?}");
        }
        // Their D50 is another than the connection space's, so XYZ differ; Lab, relative to each white, hardly does.
        let xyz = profile.xyz(additive);
        assert!((xyz.y - value[13]).abs() < 2e-4, "{row:?}: {xyz:?}");
        let lab = colour::lab(xyz);
        for (ours, theirs) in [lab.l, lab.a, lab.b].into_iter().zip(&value[15..18]) {
            assert!((ours - theirs).abs() < 0.02, "{row:?}: {lab:?}");
        }
        compared += 1;
    }
    assert_eq!(compared, 21);
}

#[test]
fn white_is_the_white_of_the_connection_space() {
    for profile in [
        Profile::srgb(),
        Profile::from_chromaticities(2.2, [[0.7, 0.3], [0.2, 0.7], [0.14, 0.05]], [0.31, 0.33])
            .unwrap(),
    ] {
        let white = profile.xyz(profile.additive([1.0; 3]));
        for (ours, theirs) in [white.x, white.y, white.z].into_iter().zip(colour::WHITE) {
            assert!((ours - theirs).abs() < 1e-12);
        }
    }
}

#[test]
fn a_chunk_description_of_srgb_primaries_is_near_srgb() {
    let said = Profile::from_chromaticities(
        2.2,
        [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]],
        [0.3127, 0.3290],
    )
    .unwrap();
    let (a, b) = (
        said.xyz(said.additive([0.5, 0.4, 0.3])),
        Profile::srgb().xyz(Profile::srgb().additive([0.5, 0.4, 0.3])),
    );
    assert!(colour::difference(colour::lab(a), colour::lab(b)) < 1.0);
}

#[test]
fn names_are_read() {
    assert_eq!(
        Profile::from_icc(icc("matrix-wide")).unwrap().name(),
        "Wide gamut for testing"
    );
    assert_eq!(
        Profile::from_icc(icc("matrix-srgb")).unwrap().name(),
        "sRGB for testing"
    );
}

/// Lengths and places that ICC.1:2022, 7.2.2 and 7.3.1 ask for: readers of PNG leave out a profile that is not so. And the
/// illuminant, which they warn of.
#[test]
fn what_is_written_is_as_the_standard_has_it() {
    for written in [
        ColorProfile::new_srgb(),
        ColorProfile::new_display_p3(),
        ColorProfile::new_pro_photo_rgb(),
    ] {
        let bytes = bytes_of(&written).unwrap();
        let number = |at: usize| u32::from_be_bytes(bytes[at..at + 4].try_into().unwrap()) as usize;
        assert_eq!(bytes.len() % 4, 0);
        assert_eq!(number(0), bytes.len());
        // The illuminant: 0.9642, 1, 0.8249 (7.2.16).
        assert_eq!([68, 72, 76].map(number), [0xf6d6, 0x1_0000, 0xd32d]);
        for tag in 0..number(128) {
            let (from, length) = (number(136 + 12 * tag), number(140 + 12 * tag));
            assert_eq!(from % 4, 0);
            assert!(from >= 132 + 12 * number(128) && from + length <= bytes.len());
        }
        let (ours, theirs) = (
            Profile::from_icc(&bytes).unwrap(),
            Profile::from_icc(&written.encode().unwrap()).unwrap(),
        );
        assert_eq!(ours.name(), theirs.name());
        assert_eq!(ours.to_xyz(), theirs.to_xyz());
    }
}

#[test]
fn profiles_of_other_pictures_are_refused_by_name() {
    assert_eq!(
        Profile::from_icc(icc("grey")).unwrap_err().to_string(),
        "for grey pictures"
    );
    assert_eq!(
        Profile::from_icc(icc("cmyk")).unwrap_err().to_string(),
        "for CMYK pictures"
    );
}

#[test]
fn cut_profiles_are_refused() {
    for name in ["matrix-wide", "table-16", "table-mab"] {
        let whole = icc(name);
        for length in (0..whole.len() - 4).step_by(97) {
            assert!(
                Profile::from_icc(&whole[..length]).is_err(),
                "{name} cut to {length}"
            );
        }
    }
}

#[test]
fn numbers_that_cannot_be_colours_are_refused() {
    // Three equal primaries have no colour; primaries on one line neither.
    assert!(Profile::from_chromaticities(2.2, [[0.64, 0.33]; 3], [0.3127, 0.3290]).is_err());
    assert!(
        Profile::from_chromaticities(
            f64::NAN,
            [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]],
            [0.3127, 0.3290]
        )
        .is_err()
    );
    assert!(
        Profile::from_chromaticities(
            2.2,
            [[0.64, 0.0], [0.30, 0.60], [0.15, 0.06]],
            [0.3127, 0.3290]
        )
        .is_err()
    );
    assert!(
        Profile::from_chromaticities(2.2, [[0.64, 0.33], [0.30, 0.60], [0.15, 0.06]], [0.0, 0.0])
            .is_err()
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(64))]

    #[test]
    fn arbitrary_bytes_never_panic(bytes in proptest::collection::vec(any::<u8>(), 0..400)) {
        let _ = Profile::from_icc(&bytes);
    }

    /// Whatever is accepted gives finite colours for every code.
    #[test]
    fn altered_profiles_never_panic(
        name in prop_oneof![Just("matrix-mixed"), Just("table-8"), Just("table-mab")],
        changes in proptest::collection::vec((any::<prop::sample::Index>(), any::<u8>()), 1..6),
        code in any::<[u16; 3]>(),
    ) {
        let mut bytes = icc(name).to_vec();
        // The head of a profile holds what steers its reading; the rest are numbers.
        let head = bytes.len().min(700);
        for (place, value) in changes {
            bytes[place.index(head)] = value;
        }
        if let Ok(profile) = Profile::from_icc(&bytes) {
            let xyz = profile.xyz(profile.additive_of(code));
            prop_assert!(xyz.x.is_finite() && xyz.y.is_finite() && xyz.z.is_finite());
        }
    }
}
