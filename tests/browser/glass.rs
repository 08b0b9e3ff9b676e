//! Under glass: a film over a photo of the painting, by mouse, touch, pen and keys.

use std::path::{Path, PathBuf};

use serde_json::json;

use crate::devtools::{Browser, Folder};
use crate::{go, open, samples, shelf_has};

/// The sample painting lies open under glass with this many kept tubes; one film lies on it.
#[track_caller]
fn opened(page: &mut Browser, tubes: usize) {
    let files: Vec<PathBuf> = samples::samples()
        .iter()
        .take(tubes)
        .map(|sample| sample.pigment.clone())
        .collect();
    go(page, "tubes");
    page.upload("#pigment", &files);
    shelf_has(page, tubes);
    go(page, "picture");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    page.wait("document.querySelector('#picture [data-say=saved]').textContent === 'Saved on this computer.'");
    page.click("#picture a[href='#glass']");
    page.click("[data-do=glass-sample]");
    seen(page);
}

/// Waits until the painting is drawn.
#[track_caller]
fn seen(page: &mut Browser) {
    page.wait("!document.querySelector('#glass [data-part=open]').hidden && document.querySelector('#glass [data-canvas=seen]').width > 200 && document.querySelector('#glass [data-part=sheet]').dataset.took");
    settled(page);
}

/// Mean of what a canvas shows in a square about a share of its width and height.
const PROBE: &str = "((name, u, v) => { const c = document.querySelector(`#glass [data-canvas=${name}]`);
   const o = new OffscreenCanvas(8, 8).getContext('2d', { willReadFrequently: true });
   o.drawImage(c, Math.round(u * c.width) - 4, Math.round(v * c.height) - 4, 8, 8, 0, 0, 8, 8);
   const d = o.getImageData(0, 0, 8, 8).data;
   const s = [0, 0, 0]; for (let i = 0; i < d.length; i += 4) for (let j = 0; j < 3; j++) s[j] += d[i + j] / (d.length / 4);
   return s.map((x) => Math.round(x * 10) / 10); })";

#[track_caller]
fn probe(page: &mut Browser, canvas: &str, [u, v]: [f64; 2]) -> [f64; 3] {
    let got = page.evaluate(&format!("{PROBE}({}, {u}, {v})", json!(canvas)));
    [0, 1, 2].map(|i| got[i].as_f64().expect("a number"))
}

/// Waits until nothing is asked of the workers and what is seen no longer changes.
#[track_caller]
fn settled(page: &mut Browser) {
    page.wait(&format!(
        "new Promise((done) => {{ const now = () => JSON.stringify([[0.3, 0.4], [0.55, 0.6], [0.8, 0.5], [0.2, 0.7]].map(([u, v]) => {PROBE}('seen', u, v)));
           let last = now(), same = 0;
           const again = () => {{ const next = now(); same = next === last && document.querySelector('#glass [data-part=sheet]').ariaBusy !== 'true' ? same + 1 : 0; last = next; same > 5 ? done(true) : setTimeout(again, 80); }};
           again(); }})"
    ));
}

fn far(a: [f64; 3], b: [f64; 3]) -> f64 {
    (0..3).map(|i| (a[i] - b[i]).abs()).fold(0.0, f64::max)
}

/// Where a share of the sheet lies in the window.
#[track_caller]
fn place(page: &mut Browser, [u, v]: [f64; 2]) -> [f64; 2] {
    page.evaluate("document.querySelector('#glass [data-part=sheet]').scrollIntoView({ block: 'center', behavior: 'instant' })");
    let at = page.evaluate(&format!(
        "(() => {{ const r = document.querySelector('#glass [data-canvas=seen]').getBoundingClientRect(); return [r.x + {u} * r.width, r.y + {v} * r.height]; }})()"
    ));
    [0, 1].map(|i| at[i].as_f64().expect("a coordinate"))
}

#[track_caller]
fn click_at(page: &mut Browser, at: [f64; 2]) {
    let at = place(page, at);
    page.drag(at, at);
}

#[track_caller]
fn tool(page: &mut Browser, name: &str) {
    page.click(&format!("#glass input[name=tool][value={name}]"));
    page.wait(&format!(
        "document.querySelector('#glass [data-part=sheet]').dataset.tool === '{name}'"
    ));
}

/// A stroke over the jug, then another area with nothing in it.
#[track_caller]
fn jug_brushed_and_another_area(page: &mut Browser) {
    tool(page, "brush");
    let (from, to) = (place(page, [0.27, 0.45]), place(page, [0.37, 0.55]));
    page.drag(from, to);
    page.click("#glass [data-do=glass-add]");
    page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
    settled(page);
}

/// How many workers draw; the one that keeps the painting comes before them.
#[track_caller]
fn strips(page: &mut Browser) -> usize {
    let strips = page.evaluate("Math.max(1, Math.min(4, navigator.hardwareConcurrency || 2))");
    strips.as_u64().expect("a number") as usize
}

const JUG: [f64; 2] = [0.32, 0.5];
const WALL: [f64; 2] = [0.7, 0.25];

#[test]
fn a_film_lies_on_the_painting_and_is_pulled_wiped_and_read() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 3);
    page.wait_for_text("Exposure and white are as the camera set them");
    page.screenshot("glass");
    let (after, before) = (probe(&mut page, "seen", JUG), probe(&mut page, "bare", JUG));
    assert!(far(after, before) > 10.0, "{after:?} {before:?}");
    // Pulled thicker, the picture follows.
    page.focus("#glass-pull");
    for _ in 0..12 {
        page.press("ArrowRight");
    }
    settled(&mut page);
    let took = page.evaluate("document.querySelector('#glass [data-part=sheet]').dataset.took");
    eprintln!("redrawn in {took} ms");
    let thicker = probe(&mut page, "seen", JUG);
    assert!(
        thicker.iter().sum::<f64>() < after.iter().sum::<f64>() - 5.0,
        "{thicker:?} {after:?}"
    );
    assert_eq!(probe(&mut page, "bare", JUG), before);
    // The picture's own film is as thick now.
    go(&mut page, "picture");
    let planned = page.evaluate("document.querySelector('#picture .pull output').textContent");
    page.click("#picture a[href='#glass']");
    page.wait(&format!(
        "document.querySelector('#glass .pull output').textContent === {planned}"
    ));
    settled(&mut page);
    // A colour read: before and after with a range.
    click_at(&mut page, JUG);
    page.wait_for_text("Were this colour measured exactly and not from a photo");
    let read = page.evaluate("document.querySelectorAll('#glass [data-part=spot] .patch').length");
    assert_eq!(read, 2);
    let wide = page.evaluate("document.querySelector('#glass [data-part=spot]').textContent.match(/within ([\\d.]+)/)[1]");
    // A grey card in the picture sets exposure and white, and the range narrows.
    tool(&mut page, "known");
    click_at(&mut page, [0.068, 0.93]);
    page.wait_for_text("Exposure and white are set by one picked place.");
    page.evaluate("document.querySelector('#glass select[name=card]').value = '96'");
    click_at(&mut page, [0.138, 0.93]);
    page.wait_for_text("Exposure and white are set by 2 picked places.");
    page.evaluate("document.querySelector('#glass select[name=card]').value = '50'");
    click_at(&mut page, [0.932, 0.93]);
    page.wait_for_text("Light that falls off across the picture is levelled");
    settled(&mut page);
    let narrow = page.wait(&format!("(() => {{ const m = document.querySelector('#glass [data-part=spot]').textContent.match(/within ([\\d.]+)/)[1]; return m !== {wide} && m; }})()"));
    let number = |v: &serde_json::Value| {
        v.as_str()
            .and_then(|v| v.parse::<f64>().ok())
            .expect("a number")
    };
    assert!(number(&narrow) < number(&wide), "{narrow} {wide}");
    page.screenshot("glass-known");
    // Before by wipe, by holding the button, and by the space bar.
    let clip = "getComputedStyle(document.querySelector('#glass [data-canvas=bare]')).clipPath";
    page.evaluate("(() => { const i = document.querySelector('#glass input[name=wipe]'); i.value = 50; i.dispatchEvent(new Event('input')); })()");
    page.wait(&format!("{clip} === 'inset(0px 50% 0px 0px)'"));
    place(&mut page, JUG);
    page.screenshot("glass-wipe");
    page.evaluate("document.querySelector('#glass [data-part=sheet]').dispatchEvent(new KeyboardEvent('keydown', { key: ' ' }))");
    page.wait(&format!("{clip} === 'none'"));
    page.evaluate("document.querySelector('#glass [data-part=sheet]').dispatchEvent(new KeyboardEvent('keyup', { key: ' ' }))");
    page.wait(&format!("{clip} === 'inset(0px 50% 0px 0px)'"));
    // Values only.
    page.click("#glass input[name=grey]");
    settled(&mut page);
    let grey = probe(&mut page, "seen", JUG);
    assert!(far(grey, [grey[1]; 3]) < 0.2, "{grey:?}");
    page.click("#glass input[name=grey]");
    // Pixel by pixel.
    page.click("#glass [data-do=glass-pixel]");
    settled(&mut page);
    page.click("#glass [data-do=glass-in]");
    settled(&mut page);
    page.screenshot("glass-close");
    page.click("#glass [data-do=glass-all]");
    settled(&mut page);
    page.close();
}

#[test]
fn areas_are_brushed_outlined_grown_run_out_and_taken_back() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 2);
    let bare = probe(&mut page, "bare", WALL);
    let all = probe(&mut page, "seen", WALL);
    assert!(far(all, bare) > 8.0);
    // Brushed on the jug only: the wall is bare again.
    tool(&mut page, "brush");
    let (from, to) = (
        place(&mut page, [0.27, 0.45]),
        place(&mut page, [0.37, 0.55]),
    );
    page.drag(from, to);
    settled(&mut page);
    assert!(far(probe(&mut page, "seen", WALL), bare) < 1.5);
    let jug = probe(&mut page, "bare", JUG);
    assert!(far(probe(&mut page, "seen", JUG), jug) > 8.0);
    page.screenshot("glass-brush");
    // Wiped off, and back.
    page.click("#glass input[name=way][value=remove]");
    let (from, to) = (
        place(&mut page, [0.27, 0.45]),
        place(&mut page, [0.37, 0.55]),
    );
    page.drag(from, to);
    settled(&mut page);
    assert!(far(probe(&mut page, "seen", JUG), jug) < 1.5);
    page.click("#glass [data-do=glass-undo]");
    settled(&mut page);
    assert!(far(probe(&mut page, "seen", JUG), jug) > 8.0);
    page.click("#glass input[name=way][value=add]");
    // Another area on the wall, by an outline drawn; it has the film, too, and a thickness of its own.
    page.click("#glass [data-do=glass-add]");
    page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
    tool(&mut page, "outline");
    for corner in [
        [0.6, 0.12],
        [0.9, 0.12],
        [0.9, 0.35],
        [0.6, 0.35],
        [0.6, 0.12],
    ] {
        click_at(&mut page, corner);
    }
    page.wait("document.querySelectorAll('#glass [data-area]')[1].textContent.includes('drawn')");
    settled(&mut page);
    assert!(far(probe(&mut page, "seen", WALL), all) < 4.0);
    page.focus("#glass-pull");
    page.press("PageUp");
    page.press("PageUp");
    settled(&mut page);
    let thick = probe(&mut page, "seen", WALL);
    assert!(
        thick.iter().sum::<f64>() < all.iter().sum::<f64>() - 3.0,
        "{thick:?} {all:?}"
    );
    page.wait_for_text("As thick as in the picture");
    // It runs out to the right.
    tool(&mut page, "run");
    let (from, to) = (
        place(&mut page, [0.62, 0.25]),
        place(&mut page, [0.88, 0.25]),
    );
    page.drag(from, to);
    page.wait_for_text("fading out");
    settled(&mut page);
    let (near, off) = (
        probe(&mut page, "seen", [0.63, 0.25]),
        probe(&mut page, "seen", [0.87, 0.25]),
    );
    let bare_off = probe(&mut page, "bare", [0.87, 0.25]);
    assert!(far(off, bare_off) < 6.0 && far(near, probe(&mut page, "bare", [0.63, 0.25])) > 10.0);
    page.screenshot("glass-areas");
    // A third, grown from the table until it reaches the fruit: what was read there is read again.
    page.click("#glass [data-do=glass-add]");
    page.wait("document.querySelectorAll('#glass [data-area]').length === 3");
    let reach = |page: &mut Browser, value: u32| {
        page.evaluate(&format!("(() => {{ const i = document.querySelector('#glass input[name=reach]'); i.value = {value}; i.dispatchEvent(new Event('input')); }})()"));
    };
    let read = "document.querySelector('#glass [data-part=spot]').textContent.startsWith('Bare')";
    tool(&mut page, "look");
    click_at(&mut page, [0.555, 0.56]);
    page.wait(read);
    tool(&mut page, "like");
    reach(&mut page, 1);
    click_at(&mut page, [0.2, 0.85]);
    settled(&mut page);
    reach(&mut page, 40);
    page.wait(&format!("!{read}"));
    page.click("#glass [data-do=glass-undo]");
    settled(&mut page);
    // Grown from the fruit.
    reach(&mut page, 10);
    click_at(&mut page, [0.555, 0.56]);
    page.wait("document.querySelectorAll('#glass [data-area]')[2].textContent.includes('drawn')");
    settled(&mut page);
    let fruit = probe(&mut page, "seen", [0.555, 0.56]);
    assert!(
        far(fruit, probe(&mut page, "bare", [0.555, 0.56])) > 6.0,
        "{fruit:?}"
    );
    // Turned to wiping off, a pull at how like leaves what was grown before.
    page.click("#glass input[name=way][value=remove]");
    reach(&mut page, 12);
    settled(&mut page);
    assert!(far(probe(&mut page, "seen", [0.555, 0.56]), fruit) < 1.5);
    page.click("#glass input[name=way][value=add]");
    // By keys alone.
    page.focus("#glass [data-part=sheet]");
    for _ in 0..4 {
        page.press("ArrowLeft");
    }
    page.press("Enter");
    settled(&mut page);
    // Left out here, the fruit is bare.
    page.click("#glass [data-do=glass-here]");
    page.wait_for_text("not here");
    settled(&mut page);
    assert!(
        far(
            probe(&mut page, "seen", [0.555, 0.56]),
            probe(&mut page, "bare", [0.555, 0.56])
        ) < 1.5
    );
    page.click("#glass [data-do=glass-take]");
    page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
    page.close();
}

/// A picture's own words on memory, cancelling and files that are none; and the glazed picture as a file.
#[test]
fn the_glazed_picture_is_saved_and_bad_files_are_said() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 1);
    let seen = probe(&mut page, "seen", JUG);
    // Most bytes that the page itself ever gives to the browser at once: a whole file in its memory is too much at 60 megapixels.
    page.evaluate("(() => { window.most = 0; window.Blob = class extends Blob { constructor(parts = [], ...more) { super(parts, ...more); most = Math.max(most, parts.reduce((sum, part) => sum + (part.byteLength ?? 0), 0)); } }; })()");
    for (button, bits) in [("glass-save-8", 8), ("glass-save-16", 16)] {
        page.click(&format!("#glass [data-do={button}]"));
        let file = page.download();
        assert!(
            file.to_string_lossy().ends_with("still-life-glazed.png"),
            "{file:?}"
        );
        let bytes = std::fs::read(&file).expect("the file");
        let scan = twoground::scan::decode::decode(&bytes, "out.png").expect("a picture");
        assert_eq!(
            (scan.width, scan.height, scan.origin.depth),
            (1600, 1200, bits)
        );
        assert!(!scan.origin.profile_assumed);
        if bits == 8 {
            let (mut sum, x, y) = (
                [0.0; 3],
                (JUG[0] * 1600.0) as usize,
                (JUG[1] * 1200.0) as usize,
            );
            for i in 0..64 {
                let code = scan.code(x - 4 + i % 8, y - 4 + i / 8);
                (0..3).for_each(|c| sum[c] += f64::from(code[c]) / 257.0 / 64.0);
            }
            assert!(far(sum, seen) < 4.0, "{sum:?} {seen:?}");
        }
    }
    let most = page.evaluate("most").as_u64().expect("a number");
    let rows = 1600 * 256 * 6;
    assert!(most > 0 && most < rows + rows / 8, "{most}");
    // Writing is stopped before the end: no file, nothing told as gone wrong, and the next one is whole.
    page.evaluate("(() => { const stop = document.querySelector('#glass [data-do=glass-save-stop]'); document.querySelector('#glass [data-do=glass-save-16]').click(); window.offered = !stop.hidden; stop.click(); })()");
    assert_eq!(page.evaluate("offered"), true);
    page.wait("document.querySelector('#glass [data-do=glass-save-stop]').hidden && document.querySelector('#glass [data-say=glass-saving]').textContent === 'Stopped: no file was saved.' && document.querySelector('#alert').hidden");
    page.click("#glass [data-do=glass-save-8]");
    let whole = std::fs::read(page.download()).expect("the file");
    assert!(twoground::scan::decode::decode(&whole, "out.png").is_ok());
    // Places on request.
    page.focus("#glass-pull");
    page.press("End");
    settled(&mut page);
    // Looking for them is told, and stopped by a click more.
    page.evaluate("(() => { const tick = document.querySelector('#glass input[name=lost]'), said = () => document.querySelector('#glass [data-say=lost]').textContent; tick.click(); window.looked = said(); tick.click(); window.stopped = said(); })()");
    assert_eq!(
        page.evaluate("[looked, stopped]"),
        json!(["Looking where the drawing is lost …", ""])
    );
    page.click("#glass input[name=lost]");
    page.wait("document.querySelector('#glass [data-say=lost]').textContent.endsWith('.')");
    // Where the bare painting is wiped in, nothing is lost: it is hatched on the glazed part only.
    page.evaluate("(() => { const i = document.querySelector('#glass input[name=wipe]'); i.value = 30; i.dispatchEvent(new Event('input')); })()");
    page.wait("(() => { const box = (name) => document.querySelector(`#glass canvas[data-canvas=${name}]`).style.clipPath; return /^inset\\(0(px)? 70% 0(px)? 0(px)?\\)$/.test(box('bare')) && /^inset\\(0(px)? 0(px)? 0(px)? 30%\\)$/.test(box('lost')); })()");
    page.evaluate("(() => { const i = document.querySelector('#glass input[name=wipe]'); i.value = 0; i.dispatchEvent(new Event('input')); })()");
    page.click("#glass input[name=hatch]");
    settled(&mut page);
    page.screenshot("glass-lost");
    // Closing gives everything back; what is no picture is one sentence.
    page.click("#glass [data-do=glass-close]");
    page.wait_for_text("Drop a photo or scan of your dry painting.");
    let folder = Folder::new("glass-bad");
    let bad = folder.path().join("bad.png");
    std::fs::write(&bad, b"not a picture").expect("a file");
    page.upload("#glass-file", &[bad]);
    page.wait_for_text("not a PNG, JPEG or TIFF");
    page.wait_for_text("Drop a photo or scan of your dry painting.");
    page.close();
}

#[test]
fn a_narrow_window_touch_and_a_pen_will_do() {
    let (_server, _profile, mut page) = open();
    page.viewport(390, 844);
    opened(&mut page, 2);
    page.screenshot("glass-narrow");
    assert_eq!(
        page.evaluate("document.documentElement.scrollWidth <= innerWidth"),
        true
    );
    // However many settings a tool has above the painting, it stays where it is.
    let tops = page.evaluate(
        "(() => { scrollTo(0, 250); return ['look', 'brush', 'outline', 'like', 'run', 'known'].map((name) => {
           document.querySelector(`#glass input[name=tool][value=${name}]`).click();
           return document.querySelector('#glass [data-part=sheet]').getBoundingClientRect().top;
         }); })()",
    );
    for top in tops.as_array().expect("six places") {
        let moved = top.as_f64().expect("a place") - tops[0].as_f64().expect("a place");
        assert!(moved.abs() < 1.0, "{tops}");
    }
    page.evaluate("scrollTo(0, 0)");
    // A pen that presses lightly lays less of the film.
    tool(&mut page, "brush");
    let pen = |page: &mut Browser, at: [f64; 2], force: f64| {
        for (kind, buttons) in [("mousePressed", 1), ("mouseMoved", 1), ("mouseReleased", 0)] {
            let nudge = if kind == "mousePressed" { 0.0 } else { 3.0 };
            page.call_page(
                "Input.dispatchMouseEvent",
                json!({"type": kind, "x": at[0] + nudge, "y": at[1], "button": "left", "buttons": buttons, "clickCount": 1, "pointerType": "pen", "force": force}),
            );
        }
    };
    let bare = probe(&mut page, "bare", WALL);
    let full = probe(&mut page, "seen", WALL);
    let at = place(&mut page, WALL);
    pen(&mut page, at, 0.3);
    settled(&mut page);
    let light = probe(&mut page, "seen", WALL);
    assert!(
        far(light, bare) > 2.0 && far(light, full) > 2.0,
        "{bare:?} {light:?} {full:?}"
    );
    // A finger brushes all of it; two fingers zoom.
    let finger = place(&mut page, JUG);
    let touch = |page: &mut Browser, kind: &str, points: &[[f64; 2]]| {
        let points: Vec<_> = points
            .iter()
            .enumerate()
            .map(|(id, p)| json!({"x": p[0], "y": p[1], "id": id}))
            .collect();
        page.call_page(
            "Input.dispatchTouchEvent",
            json!({"type": kind, "touchPoints": points}),
        );
    };
    touch(&mut page, "touchStart", &[finger]);
    touch(&mut page, "touchMove", &[[finger[0] + 12.0, finger[1]]]);
    touch(&mut page, "touchEnd", &[]);
    settled(&mut page);
    let bare = probe(&mut page, "bare", JUG);
    assert!(far(probe(&mut page, "seen", JUG), bare) > 8.0);
    // Two fingers zoom with the brush in hand, too, and leave nothing on the painting: what was laid is the last step still.
    let drawn = |page: &mut Browser| probe(page, "seen", [0.1, 0.1]);
    let wall = place(&mut page, [0.1, 0.1]);
    let laid = drawn(&mut page);
    touch(&mut page, "touchStart", &[wall]);
    touch(&mut page, "touchStart", &[wall, [wall[0] + 60.0, wall[1]]]);
    touch(&mut page, "touchEnd", &[]);
    settled(&mut page);
    assert!(far(drawn(&mut page), laid) < 0.5);
    // A tap lays a dab.
    touch(&mut page, "touchStart", &[wall]);
    touch(&mut page, "touchEnd", &[]);
    settled(&mut page);
    assert!(far(drawn(&mut page), laid) > 4.0);
    page.click("#glass [data-do=glass-undo]");
    settled(&mut page);
    assert!(far(drawn(&mut page), laid) < 0.5);
    tool(&mut page, "look");
    let finger = place(&mut page, JUG);
    let spread = |by: f64| [[finger[0] - by, finger[1]], [finger[0] + by, finger[1]]];
    let shown = probe(&mut page, "bare", [0.1, 0.1]);
    touch(&mut page, "touchStart", &spread(20.0)[..1]);
    touch(&mut page, "touchStart", &spread(20.0));
    for by in [30.0, 45.0, 60.0] {
        touch(&mut page, "touchMove", &spread(by));
    }
    touch(&mut page, "touchEnd", &[]);
    settled(&mut page);
    assert!(
        far(probe(&mut page, "bare", [0.1, 0.1]), shown) > 3.0,
        "zoomed in"
    );
    page.evaluate("document.querySelector('#glass .glass-side').scrollIntoView()");
    page.screenshot("glass-narrow-films");
    page.close();
}

/// The sample lies where the page looks for it.
#[test]
fn the_sample_painting_is_served() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("sample-scans/still-life.jpg");
    let bytes = std::fs::read(path).expect("the sample");
    assert!(bytes.len() < 400_000, "{} bytes", bytes.len());
    let scan = twoground::scan::decode::decode(&bytes, "still-life.jpg").expect("a picture");
    assert!(!scan.origin.profile_assumed && scan.width == 1600);
}

/// What was drawn on the painting is there again another day.
#[test]
fn painting_and_areas_are_held_with_the_picture() {
    let (server, profile, mut page) = open();
    opened(&mut page, 2);
    tool(&mut page, "known");
    click_at(&mut page, [0.068, 0.93]);
    page.wait_for_text("Exposure and white are set by one picked place.");
    jug_brushed_and_another_area(&mut page);
    let places = [JUG, WALL, [0.3, 0.48], [0.42, 0.6]];
    let before = places.map(|at| probe(&mut page, "seen", at));
    // The last change is held, too, when the painting is closed at once.
    page.click("#glass [data-do=glass-close]");
    page.wait("!document.querySelector('#glass [data-part=start]').hidden");
    page.close();

    let mut page = Browser::open(&profile, &server.origin);
    go(&mut page, "picture");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    page.click("#picture a[href='#glass']");
    page.wait_for_text("still-life.jpg was under glass here.");
    page.screenshot("glass-left");
    page.click("#glass [data-do=glass-go-on]");
    seen(&mut page);
    page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
    page.wait_for_text("Exposure and white are set by one picked place.");
    settled(&mut page);
    for (at, before) in places.into_iter().zip(before) {
        let now = probe(&mut page, "seen", at);
        assert!(far(now, before) < 1.5, "{at:?}: {now:?} {before:?}");
    }
    // It is on the sheet for the easel, without its films and with them.
    go(&mut page, "picture");
    page.evaluate("globalThis.printed = 0, window.print = () => { printed += 1; }, 1");
    page.click("#picture [data-do=print-plan]");
    page.wait("printed === 1");
    let figures = page.evaluate(
        "[...document.querySelectorAll('#paper .painting img')].map((image) => {
           const o = new OffscreenCanvas(1, 1).getContext('2d'); o.drawImage(image, 0, 0, 1, 1);
           return [image.naturalWidth, ...o.getImageData(0, 0, 1, 1).data]; })",
    );
    assert_eq!(figures.as_array().map(Vec::len), Some(2), "{figures}");
    assert_eq!(figures[0][0], json!(1200), "{figures}");
    assert_ne!(figures[0], figures[1]);
    page.click("#picture a[href='#glass']");
    seen(&mut page);
    // It can be forgotten.
    page.click("#glass [data-do=glass-close]");
    page.wait_for_text("still-life.jpg was under glass here.");
    page.click("#glass [data-do=glass-forget]");
    page.wait("document.querySelector('#glass [data-part=left]').hidden");
    // No room for the painting: said, and what was drawn comes back with the file.
    let used = page.evaluate("navigator.storage.estimate().then(({ usage }) => usage)");
    page.close();
    let folder = Folder::new("painting");
    let large = folder.path().join("large.png");
    let mut noise = 1_u32;
    image::RgbImage::from_fn(1600, 1200, |_, _| {
        // Numbers that do not compress (Marsaglia 2003, xorshift).
        noise ^= noise << 13;
        noise ^= noise >> 17;
        noise ^= noise << 5;
        image::Rgb(noise.to_le_bytes()[..3].try_into().expect("three"))
    })
    .save(&large)
    .expect("a picture");
    let mut page = Browser::open(&profile, &server.origin);
    // Before anything asks for room: the browser remembers the answer for a while.
    page.call_page(
        "Storage.overrideQuotaForOrigin",
        json!({"origin": server.origin, "quotaSize": used.as_f64().expect("bytes") + 2e6}),
    );
    go(&mut page, "picture");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    page.click("#picture a[href='#glass']");
    page.upload("#glass-file", std::slice::from_ref(&large));
    seen(&mut page);
    jug_brushed_and_another_area(&mut page);
    // What was drawn is held all the same, and until it is, something else is said.
    page.wait_for_text("The painting itself will not be here next time");
    page.reload();
    go(&mut page, "picture");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    page.click("#picture a[href='#glass']");
    page.wait_for_text("was too large to be held. Choose it again");
    page.upload("#glass-file", &[large]);
    seen(&mut page);
    page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
    page.close();
}

/// Another painting takes the place of the one under glass; what was drawn on that comes back with its file.
#[test]
fn what_was_drawn_comes_back_after_another_painting() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 2);
    jug_brushed_and_another_area(&mut page);
    page.click("#glass [data-do=glass-close]");
    page.wait_for_text("still-life.jpg was under glass here.");
    let folder = Folder::new("second painting");
    let other = folder.path().join("other.png");
    image::RgbImage::from_fn(400, 300, |x, y| {
        image::Rgb([(x / 2) as u8, (y / 2) as u8, 90])
    })
    .save(&other)
    .expect("a picture");
    page.upload("#glass-file", &[other]);
    seen(&mut page);
    page.wait("document.querySelectorAll('#glass [data-area]').length === 1");
    settled(&mut page);
    page.click("#glass [data-do=glass-close]");
    page.wait_for_text("other.png was under glass here.");
    page.wait_for_text("What you drew on still-life.jpg is held too");
    page.click("#glass [data-do=glass-sample]");
    seen(&mut page);
    page.wait("document.querySelectorAll('#glass [data-area]').length === 2");
    page.close();
}

/// A browser ends a worker without a word. It is noticed whichever it is, while something is asked of it and while it rests, and
/// what was drawn is gone on with.
#[test]
fn a_worker_under_glass_that_ends_is_noticed_and_the_painting_gone_on_with() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 2);
    tool(&mut page, "brush");
    let (from, to) = (
        place(&mut page, [0.27, 0.45]),
        place(&mut page, [0.37, 0.55]),
    );
    page.drag(from, to);
    settled(&mut page);
    let brushed = probe(&mut page, "seen", JUG);
    let bare = probe(&mut page, "bare", JUG);
    assert!(far(brushed, bare) > 8.0, "{brushed:?} {bare:?}");
    page.wait_for_text("Held with the picture on this computer.");
    let strips = strips(&mut page);
    // One that draws, then the one that keeps the painting; the latter at rest, and as soon as it is asked for anything.
    for (before, asked) in [(0, false), (strips, false), (strips, true)] {
        // What was drawn is held a moment after it was drawn or gone on with, and that asks the worker for something.
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 1500))");
        if asked {
            tool(&mut page, "look");
            settled(&mut page);
            page.in_older_worker(before, "self.onmessage = () => self.close()");
            click_at(&mut page, WALL);
        } else {
            page.in_older_worker(before, "self.close()");
        }
        page.wait_for_text("Work under glass stopped unexpectedly");
        page.wait_for_text("still-life.jpg was under glass here.");
        page.screenshot("glass-stopped");
        page.click("#glass [data-do=glass-go-on]");
        seen(&mut page);
        assert!(far(probe(&mut page, "seen", JUG), brushed) < 1.5);
        assert!(
            far(
                probe(&mut page, "seen", WALL),
                probe(&mut page, "bare", WALL)
            ) < 1.5
        );
    }
    page.close();
}

/// Where the worker that keeps the painting is slow, what the painter does is done in its order all the same, on the area that it was
/// meant for; until it is held, the page says so, and what it says is held is there after loading it again.
#[test]
fn what_is_drawn_on_a_slow_machine_keeps_its_order_and_is_held_when_that_is_said() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 2);
    page.wait_for_text("Held with the picture on this computer.");
    let strips = strips(&mut page);
    page.in_older_worker(
        strips,
        "const quick = self.onmessage; self.onmessage = (event) => setTimeout(() => quick(event), 150)",
    );
    let areas = |page: &mut Browser| {
        let told = "[...document.querySelectorAll('#glass [data-area]')].map((area) => area.textContent).join(', ')";
        page.evaluate(told)
    };
    jug_brushed_and_another_area(&mut page);
    assert_eq!(areas(&mut page), "Area 1drawn, Area 2empty");
    let (jug, wall) = (
        probe(&mut page, "seen", JUG),
        probe(&mut page, "seen", WALL),
    );
    assert!(far(jug, probe(&mut page, "bare", JUG)) > 8.0, "{jug:?}");
    assert!(far(wall, probe(&mut page, "bare", WALL)) < 1.5, "{wall:?}");
    // One more stroke, on the second area: that it waits is said at once.
    page.wait_for_text("Held with the picture on this computer.");
    let (from, to) = (place(&mut page, WALL), place(&mut page, [0.74, 0.3]));
    page.drag(from, to);
    page.wait_for_text("What you did last is not held yet.");
    page.wait_for_text("Held with the picture on this computer.");
    page.reload();
    go(&mut page, "picture");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
    page.click("#picture a[href='#glass']");
    page.wait_for_text("still-life.jpg was under glass here.");
    page.click("#glass [data-do=glass-go-on]");
    seen(&mut page);
    assert_eq!(areas(&mut page), "Area 1drawn, Area 2drawn");
    assert!(far(probe(&mut page, "seen", JUG), jug) < 1.5);
    assert!(
        far(
            probe(&mut page, "seen", WALL),
            probe(&mut page, "bare", WALL)
        ) > 8.0
    );
    page.close();
}

/// Where there is no room for the painting, a reduced copy of it is held and gone on with, and the same file takes its work up. It
/// takes the place of another painting that was held.
#[test]
fn a_reduced_copy_is_held_where_storage_is_short() {
    let (server, profile, mut page) = open();
    opened(&mut page, 2);
    page.wait_for_text("Held with the picture on this computer.");
    // The page's own copy for use without a network has its room.
    page.wait("navigator.serviceWorker.controller !== null");
    let used = page.evaluate("navigator.storage.estimate().then(({ usage }) => usage)");
    page.close();
    let folder = Folder::new("reduced");
    let large = folder.path().join("large.png");
    let mut noise = 1_u32;
    image::RgbImage::from_fn(2400, 1800, |x, y| {
        // Four bits of noise that do not compress (Marsaglia 2003, xorshift), on a field to each quarter.
        noise ^= noise << 13;
        noise ^= noise >> 17;
        noise ^= noise << 5;
        let field = [
            [170, 120, 60],
            [60, 110, 150],
            [200, 190, 170],
            [110, 60, 50],
        ];
        let field = field[usize::from(x >= 1200) + 2 * usize::from(y >= 900)];
        let grain = noise.to_le_bytes();
        image::Rgb([0, 1, 2].map(|c| field[c] + grain[c] % 16))
    })
    .save(&large)
    .expect("a picture");
    assert!(std::fs::metadata(&large).expect("a file").len() > 4_000_000);

    let mut page = Browser::open(&profile, &server.origin);
    page.call_page(
        "Storage.overrideQuotaForOrigin",
        json!({"origin": server.origin, "quotaSize": used.as_f64().expect("bytes") + 2.5e6}),
    );
    let offered = |page: &mut Browser| {
        go(page, "picture");
        page.wait("document.querySelectorAll('#picture [data-film]').length === 1");
        page.click("#picture a[href='#glass']");
    };
    offered(&mut page);
    page.wait_for_text("still-life.jpg was under glass here.");
    page.upload("#glass-file", std::slice::from_ref(&large));
    seen(&mut page);
    jug_brushed_and_another_area(&mut page);
    page.wait_for_text("the painting only as a reduced copy: there is no room for all of it.");
    let places = [JUG, WALL, [0.3, 0.48], [0.42, 0.8]];
    let before = places.map(|at| probe(&mut page, "seen", at));
    assert!(far(before[0], probe(&mut page, "bare", JUG)) > 4.0);
    assert!(far(before[1], probe(&mut page, "bare", WALL)) < 1.5);
    page.reload();
    offered(&mut page);
    page.wait_for_text("large.png was under glass here. There was no room to hold all of it");
    page.screenshot("glass-left-reduced");
    page.click("#glass [data-do=glass-go-on]");
    seen(&mut page);
    page.wait_for_text("This is a reduced copy, 1600 × 1200 pixels of 2400 × 1800");
    page.screenshot("glass-reduced");
    let same = |page: &mut Browser, what: &str| {
        for (at, before) in places.into_iter().zip(before) {
            let now = probe(page, "seen", at);
            // The grain of both is not alike.
            assert!(far(now, before) < 4.0, "{what}, {at:?}: {now:?} {before:?}");
        }
    };
    same(&mut page, "reduced");
    // Another area on the copy; the file chosen again has it, too.
    page.click("#glass [data-do=glass-add]");
    page.wait("document.querySelectorAll('#glass [data-area]').length === 3");
    page.click("#glass [data-do=glass-close]");
    page.wait_for_text("large.png was under glass here. There was no room to hold all of it");
    page.upload("#glass-file", &[large]);
    seen(&mut page);
    page.wait("document.querySelectorAll('#glass [data-area]').length === 3");
    page.wait_for_text("2400 × 1800 pixels");
    assert_eq!(
        page.evaluate("document.body.innerText.includes('This is a reduced copy')"),
        false
    );
    same(&mut page, "whole again");
    page.close();
}

/// Whatever the painter did last is taken back first, whether it changed where films lie, how thick one lies there, or the picture's
/// own films; and all of it is done again.
#[test]
fn every_step_is_taken_back_in_its_order_and_done_again() {
    /// What is told of the areas and the films in the chosen one, and what is seen at four places.
    #[track_caller]
    fn now(page: &mut Browser) -> (String, [[f64; 3]; 4]) {
        settled(page);
        let told = page.evaluate(
            "[...document.querySelectorAll('#glass [data-area], #glass [data-glass-film]')].map((one) => one.textContent).concat([...document.querySelectorAll('#glass .pull output')].map((one) => one.textContent)).join('; ')",
        );
        let told = told.as_str().expect("words").to_owned();
        (told, PLACES.map(|at| probe(page, "seen", at)))
    }
    #[track_caller]
    fn same(page: &mut Browser, what: &str, (told, seen): &(String, [[f64; 3]; 4])) {
        let (now_told, now_seen) = now(page);
        assert_eq!(&now_told, told, "{what}");
        for (now, seen) in now_seen.into_iter().zip(seen) {
            assert!(far(now, *seen) < 1.5, "{what}: {now_seen:?} {seen:?}");
        }
    }
    const PLACES: [[f64; 2]; 4] = [JUG, WALL, [0.63, 0.25], [0.555, 0.56]];

    let (_server, _profile, mut page) = open();
    opened(&mut page, 2);
    // Two films, so that their order can change.
    page.click("#glass a[href='#picture']");
    page.click("#picture [data-part=tubes] > :nth-child(2) button");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 2");
    page.click("#picture a[href='#glass']");
    page.wait("document.querySelectorAll('#glass [data-glass-film]').length === 2");
    page.click("#glass [data-glass-film='0']");
    let mut states = vec![now(&mut page)];
    let drag = |page: &mut Browser, from: [f64; 2], to: [f64; 2]| {
        let (from, to) = (place(page, from), place(page, to));
        page.drag(from, to);
    };
    let pulled = |page: &mut Browser| {
        page.focus("#glass-pull");
        page.press("PageUp");
    };
    /// A step, named as it is told where it goes wrong.
    type Step<'a> = (&'a str, &'a dyn Fn(&mut Browser));
    let steps: [Step; 12] = [
        ("pull", &pulled),
        ("coats", &|page| page.click("#glass [data-do=glass-more]")),
        ("brush", &|page| {
            tool(page, "brush");
            drag(page, [0.27, 0.45], [0.37, 0.55]);
        }),
        ("another area", &|page| {
            page.click("#glass [data-do=glass-add]");
        }),
        ("grow", &|page| {
            tool(page, "like");
            click_at(page, WALL);
        }),
        ("run", &|page| {
            tool(page, "run");
            drag(page, [0.62, 0.25], [0.88, 0.25]);
        }),
        ("pull here", &pulled),
        ("leave out", &|page| {
            page.click("#glass [data-do=glass-here]");
        }),
        ("order", &|page| page.click("#glass [data-do=glass-order]")),
        ("everywhere else", &|page| {
            page.click("#glass [data-do=glass-turn-over]");
        }),
        ("whole", &|page| page.click("#glass [data-do=glass-whole]")),
        ("take away", &|page| {
            page.click("#glass [data-area='0']");
            settled(page);
            page.click("#glass [data-do=glass-take]");
        }),
    ];
    for (name, step) in steps {
        step(&mut page);
        states.push(now(&mut page));
        let [before, after] = &states[states.len() - 2..] else {
            unreachable!()
        };
        assert!(before != after, "{name} changed nothing");
    }
    page.screenshot("glass-steps");
    // Turning to an area or a film is no step: told words are compared with those after it.
    for (at, (name, _)) in steps.iter().enumerate().rev() {
        page.click("#glass [data-do=glass-undo]");
        settled(&mut page);
        if *name == "take away" {
            page.click("#glass [data-area='1']");
        }
        let film = page.evaluate(
            "document.querySelector('#glass [data-glass-film][aria-pressed=true]').dataset.glassFilm",
        );
        let chosen = if at > 8 { "1" } else { "0" };
        if film != chosen {
            page.click(&format!("#glass [data-glass-film='{chosen}']"));
        }
        same(&mut page, name, &states[at]);
    }
    assert_eq!(
        page.evaluate(
            "document.querySelector('#glass [data-do=glass-undo]').ariaDisabled === 'true'"
        ),
        false,
        "the film that was laid on is a step, too"
    );
    for (at, (name, _)) in steps.iter().enumerate() {
        page.focus("#glass [data-part=sheet]");
        // Control and Shift.
        page.press_with("Z", 2 + 8);
        settled(&mut page);
        let chosen = if at >= 8 { "1" } else { "0" };
        page.click(&format!("#glass [data-glass-film='{chosen}']"));
        same(&mut page, name, &states[at + 1]);
    }
    // The picture has what lies under glass.
    page.click("#glass a[href='#picture']");
    page.wait("document.querySelectorAll('#picture [data-film]').length === 2");
    page.click("#picture a[href='#glass']");
    same(&mut page, "after the picture", &states[states.len() - 1]);
    page.close();
}

/// Another picture opened right after a stroke: the stroke is held with its own picture, however late the page would have held it.
#[test]
fn a_stroke_is_held_when_another_picture_is_opened_at_once() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 2);
    page.wait_for_text("Held with the picture on this computer.");
    // What would be held a moment later never is: only what the page does by itself on leaving counts.
    page.evaluate("(() => { const after = window.setTimeout; window.setTimeout = (act, ms, ...more) => after(act, ms === 700 ? 1e8 : ms, ...more); })()");
    tool(&mut page, "brush");
    let (from, to) = (
        place(&mut page, [0.27, 0.45]),
        place(&mut page, [0.37, 0.55]),
    );
    page.drag(from, to);
    page.click("#glass a[href='#picture']");
    page.click("#picture [data-do=pictures]");
    page.click("#picture [data-do=new]");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture 2'");
    page.click("#picture a[href='#glass']");
    page.wait("document.querySelector('#glass [data-say=glass-picture]').textContent === 'My picture 2' && !document.querySelector('#glass [data-part=start]').hidden");
    page.click("#glass a[href='#picture']");
    page.wait("document.querySelectorAll('#picture [data-picture]').length === 2");
    page.click("#picture [data-picture='1'] button");
    page.wait("document.querySelector('#picture [data-part=name]').value === 'My picture'");
    page.click("#picture a[href='#glass']");
    page.wait_for_text("still-life.jpg was under glass here.");
    page.click("#glass [data-do=glass-go-on]");
    seen(&mut page);
    assert_eq!(
        page.evaluate("document.querySelector('#glass [data-area]').textContent"),
        "Area 1drawn"
    );
    page.close();
}

/// One photo has one colour: what is read under glass, with its grey card, is what the underpainting gets.
#[test]
fn a_bare_colour_is_taken_as_underpainting() {
    let (_server, _profile, mut page) = open();
    opened(&mut page, 1);
    click_at(&mut page, [0.5, 0.5]);
    page.wait("document.querySelector('#glass [data-do=glass-underpainting]')");
    let before = page.evaluate("document.querySelector('#glass [data-part=spot] dd').textContent");
    page.click("#glass [data-do=glass-underpainting]");
    page.wait(
        "document.querySelector('#glass [data-say=taken]')?.textContent.includes('10 colours now')",
    );
    page.click("#glass a[href='#picture']");
    page.click("#picture [data-panel=underpainting]");
    page.wait("document.querySelectorAll('#picture [data-part=colours] > li').length === 10");
    let row = page.evaluate(
        "document.querySelector('#picture [data-part=colours] > li:last-child .small').textContent",
    );
    let (row, before) = (
        row.as_str().expect("words"),
        before.as_str().expect("a colour"),
    );
    assert!(row.starts_with(before), "{row} {before}");
    page.close();
}
