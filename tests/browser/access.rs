//! Every screen against the rules of axe-core (WCAG 2.2 and its best practices), wide and narrow, by script as a screen reader meets it.
//!
//! axe-core comes by npm into `target/axe`; it is no part of the product.

use super::*;
use std::sync::LazyLock;

const VERSION: &str = "axe-core@4.14.1";

/// The checker's source; none where npm cannot install it. Once for all tests: two npms at once in one folder undo each other.
static AXE: LazyLock<Option<String>> = LazyLock::new(|| {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("target/axe");
    let file = folder.join("node_modules/axe-core/axe.min.js");
    if !file.exists() {
        let npm = Command::new("npm")
            .args(["install", "--silent", "--no-save", "--prefix"])
            .arg(&folder)
            .arg(VERSION)
            .status();
        if !npm.is_ok_and(|status| status.success()) {
            return None;
        }
    }
    Some(fs::read_to_string(file).expect("axe-core's script"))
});

/// What is against the rules on the screen as it is, in words.
fn violations(page: &mut Browser, state: &str) -> Vec<String> {
    let found = page.evaluate(
        "axe.run(document, { resultTypes: ['violations'], rules: { 'color-contrast-enhanced': { enabled: true }, 'target-size': { enabled: true } } }).then(({ violations }) => violations.flatMap(({ id, help, nodes }) =>
           nodes.map(({ target, failureSummary }) => `${id}: ${help}: ${target.join(' ')}: ${failureSummary}`)))",
    );
    // Ours: nothing to press is smaller than a finger. Links within a sentence may be.
    let small = page.evaluate(
        "[...document.querySelectorAll('button, select, summary, nav a, label.button, label.quiet, input:not([type=checkbox], [type=file]), label:has([type=checkbox]), :is(.grip, .cell-grip) :is(polygon, circle, rect).catch')]
           .filter((e) => e.checkVisibility())
           .flatMap((e) => {
             const { width, height } = e.getBoundingClientRect();
             return width < 43.5 || height < 43.5 ? [`smaller than a finger: ${e.outerHTML.slice(0, 120)} ${width} x ${height}`] : [];
           })",
    );
    let lists = [found, small];
    let both = lists
        .iter()
        .flat_map(|list| list.as_array().expect("a list"));
    both.map(|words| format!("{state}: {}", words.as_str().unwrap_or_default()))
        .collect()
}

#[test]
fn nothing_on_any_screen_is_against_the_rules_of_access() {
    let Some(axe) = &*AXE else {
        eprintln!("Not checked: npm could not install {VERSION}.");
        return;
    };
    let (_server, _profile, mut page) = open();
    let mut wrong = Vec::new();
    for [width, height] in [[1280, 900], [390, 844]] {
        page.viewport(width, height);
        page.reload();
        page.wait("document.querySelectorAll('#start [data-part=samples] button').length > 0");
        page.evaluate(&format!("(() => {{ {axe}; return 1; }})()"));
        let mut check = |page: &mut Browser, state: &str| {
            wrong.extend(violations(page, &format!("{width}, {state}")));
        };
        page.click("#start [data-fold=blanks] > summary");
        page.wait("document.querySelector('#start [data-part=preview] img')");
        check(&mut page, "start");
        read(&mut page, &samples::samples()[0].scan);
        page.evaluate(
            "document.querySelectorAll('#card details').forEach((fold) => (fold.open = true))",
        );
        check(&mut page, "card");
        name_and_keep(&mut page, "first");
        check(&mut page, "kept");
        go(&mut page, "tubes");
        page.wait("document.querySelectorAll('#tubes [data-kept]').length > 0");
        check(&mut page, "tubes");
        page.evaluate(
            "location.hash = `#tube-${document.querySelector('#tubes [data-kept]').dataset.kept}`",
        );
        page.wait("!document.querySelector('#tube').hidden && document.querySelector('#tube h1').textContent");
        check(&mut page, "tube");
        go(&mut page, "picture");
        picture::picture_has(&mut page, 1);
        page.evaluate(
            "document.querySelectorAll('#picture details').forEach((fold) => (fold.open = true))",
        );
        check(&mut page, "picture");
        for panel in [
            "wanted-panel",
            "mixed",
            "patches",
            "underpainting",
            "numbers",
            "notes",
        ] {
            page.click(&format!("#picture [data-panel={panel}]"));
            if panel == "wanted-panel" {
                page.click("#picture [data-way=warmer]");
                page.wait("document.querySelector('#picture [data-part=answer]').textContent");
            }
            check(&mut page, panel);
            // Nor is anything of it wider than the window.
            let wide = page.evaluate("document.documentElement.scrollWidth");
            assert!(wide.as_u64() <= Some(u64::from(width)), "{panel}: {wide}");
        }
        page.click("#picture [data-panel=all-tubes]");
        for place in ["sure", "cautions"] {
            go(&mut page, place);
            check(&mut page, place);
        }
        let letter = Folder::new("letter");
        let file = letter.path().join("letter.png");
        fs::write(&file, "Dear painter, this is no picture.").expect("a file");
        go(&mut page, "cards");
        page.upload("#scan", &[file]);
        page.wait("!document.querySelector('#alert').hidden");
        check(&mut page, "alert");
        let nothing = letter.path().join("nothing.png");
        image::RgbImage::from_pixel(700, 600, image::Rgb([200, 200, 200]))
            .save(&nothing)
            .expect("a picture is written");
        page.upload("#scan", &[nothing]);
        page.wait_for_text("Where is the card?");
        check(&mut page, "no card");
        // The reading would come back after the next reload.
        page.evaluate("document.querySelector('#card [data-do=another]').click()");
        page.wait("!document.querySelector('#start').hidden");
        // A reading in progress would come back with the reload.
        page.evaluate("document.querySelector('#card [data-do=another]').click()");
        page.wait("!document.querySelector('#start').hidden");
        page.evaluate("new Promise((done) => setTimeout(() => done(1), 800))");
    }
    page.close();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn nothing_under_glass_is_against_the_rules_of_access() {
    let Some(axe) = &*AXE else {
        eprintln!("Not checked: npm could not install {VERSION}.");
        return;
    };
    let (_server, _profile, mut page) = open();
    let mut wrong = Vec::new();
    page.evaluate(&format!("(() => {{ {axe}; return 1; }})()"));
    for [width, height] in [[1280, 900], [390, 844]] {
        page.viewport(width, height);
        let mut check = |page: &mut Browser, state: &str| {
            wrong.extend(violations(page, &format!("{width}, {state}")));
        };
        page.evaluate("location.hash = '#glass'");
        page.wait("!document.querySelector('#glass').hidden");
        check(&mut page, "nothing open");
        page.click("[data-do=glass-sample]");
        page.wait("!document.querySelector('#glass [data-part=open]').hidden");
        for tool in ["look", "brush", "like", "known"] {
            page.click(&format!("#glass input[name=tool][value={tool}]"));
            check(&mut page, tool);
        }
        page.click("#glass [data-do=glass-close]");
    }
    page.close();
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// Colours as a reader may have forced them: dark or light.
fn force_colours(page: &mut Browser, scheme: &str) {
    let features = json!([{"name": "forced-colors", "value": "active"}, {"name": "prefers-color-scheme", "value": scheme}]);
    page.call_page("Emulation.setEmulatedMedia", json!({"features": features}));
}

/// What the screen shows of an element, with so much around it.
#[track_caller]
fn seen(page: &mut Browser, selector: &str, around: f64) -> image::RgbImage {
    page.wait(&format!("document.querySelector({})", json!(selector)));
    page.evaluate(&format!(
        "document.querySelector({}).scrollIntoView({{ block: 'center', behavior: 'instant' }})",
        json!(selector)
    ));
    page.evaluate(
        "new Promise((next) => requestAnimationFrame(() => requestAnimationFrame(() => next(1))))",
    );
    shot(page, selector, around)
}

/// The same where it stands now.
#[track_caller]
fn shot(page: &mut Browser, selector: &str, around: f64) -> image::RgbImage {
    let clip = page.evaluate(&format!(
        "(() => {{ const r = document.querySelector({}).getBoundingClientRect(), around = {around};
           return {{ x: Math.floor(r.x + scrollX) - around, y: Math.floor(r.y + scrollY) - around,
             width: Math.ceil(Math.min(r.width, 900)) + 2 * around, height: Math.ceil(Math.min(r.height, 500)) + 2 * around, scale: 1 }}; }})()",
        json!(selector)
    ));
    let shot = page.call_page(
        "Page.captureScreenshot",
        json!({"format": "png", "clip": clip}),
    );
    let bytes = base64::Engine::decode(
        &base64::engine::general_purpose::STANDARD,
        shot["data"].as_str().expect("a picture"),
    );
    image::load_from_memory(&bytes.expect("base64"))
        .expect("a PNG")
        .to_rgb8()
}

/// Contrast of two colours: WCAG 2.2, "contrast ratio" and "relative luminance".
fn contrast(a: image::Rgb<u8>, b: image::Rgb<u8>) -> f64 {
    let luminance = |colour: image::Rgb<u8>| {
        let linear = colour.0.map(|v| {
            let v = f64::from(v) / 255.0;
            if v <= 0.04045 {
                v / 12.92
            } else {
                ((v + 0.055) / 1.055).powf(2.4)
            }
        });
        0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
    };
    let [a, b] = [luminance(a), luminance(b)];
    (a.max(b) + 0.05) / (a.min(b) + 0.05)
}

/// How many pixels stand out from the first one of the picture: 3:1, what WCAG 2.2 asks of what is no text (1.4.11).
fn drawn(picture: &image::RgbImage) -> usize {
    let ground = *picture.get_pixel(0, 0);
    let stands_out = |pixel: &&image::Rgb<u8>| contrast(**pixel, ground) >= 3.0;
    picture.pixels().filter(stands_out).count()
}

/// How many pixels differ by 3:1 from what was there before.
fn changed(before: &image::RgbImage, after: &image::RgbImage) -> usize {
    assert_eq!(before.dimensions(), after.dimensions());
    let pairs = before.pixels().zip(after.pixels());
    pairs.filter(|(a, b)| contrast(**a, **b) >= 3.0).count()
}

#[test]
fn forced_colours_leave_grips_states_and_focus_to_be_seen() {
    let (_server, _profile, mut page) = open();
    page.viewport(1280, 900);
    if let Some(axe) = &*AXE {
        page.evaluate(&format!("(() => {{ {axe}; return 1; }})()"));
    }
    let rules = |page: &mut Browser, state: &str| {
        if AXE.is_some() {
            let found = violations(page, state);
            assert!(found.is_empty(), "{}", found.join("\n"));
        }
    };
    for scheme in ["dark", "light"] {
        force_colours(&mut page, scheme);
        assert_eq!(
            page.evaluate("matchMedia('(forced-colors: active)').matches"),
            true
        );
        let mut wrong: Vec<String> = Vec::new();
        let mut shows = |page: &mut Browser, selector: &str, least: usize| {
            let count = drawn(&seen(page, selector, 1.0));
            if count < least {
                wrong.push(format!("{scheme}: {selector}: {count} pixels to be seen"));
            }
        };
        go(&mut page, "cards");
        if page.evaluate("!document.querySelector('#card').hidden") == true {
            page.click("#card [data-do=another]");
        }
        page.wait("document.querySelectorAll('#start .track .tick').length > 0");
        shows(&mut page, "#start .wedge", 500);
        shows(&mut page, "#start .track .tick:nth-of-type(3)", 6);
        shows(&mut page, "#start [aria-pressed=true].strip-button", 150);
        rules(&mut page, &format!("{scheme}, start"));
        read(&mut page, &samples::samples()[0].scan);
        page.evaluate(
            "document.querySelectorAll('#card details').forEach((fold) => (fold.open = true))",
        );
        for knob in [
            "corner-0",
            "film-0-top",
            "film-0-bottom",
            "film-0",
            "stripe-0",
        ] {
            shows(
                &mut page,
                &format!("#card [data-grip={knob}] :is(circle, rect, path).knob"),
                20,
            );
        }
        // The number is not of the colour of its box.
        let number = seen(&mut page, "#card [data-grip=film-0] text", 0.0);
        assert!(drawn(&number) > 8, "{scheme}: {}", drawn(&number));
        shows(&mut page, "#card .curves img", 2000);

        rules(&mut page, &format!("{scheme}, card"));

        // What is chosen looks otherwise than what is not: more than by its weight.
        go(&mut page, "picture");
        picture::picture_has(&mut page, 1);
        for (chosen, other, edge) in [
            (
                "#picture .layer[aria-pressed=true]",
                "#picture .layer:not([aria-pressed=true])",
                "borderLeftColor",
            ),
            (
                "#picture .steps .now button",
                "#picture .steps tr:not(.now) button",
                "borderLeftColor",
            ),
            (
                "#picture .lane-names [aria-pressed=true]",
                "#picture .lane-names [aria-pressed=false]",
                "borderTopColor",
            ),
            (
                "#picture .panels [aria-pressed=true]",
                "#picture .panels [aria-pressed=false]",
                "borderBottomColor",
            ),
            (
                "nav [aria-current]",
                "nav a:not([aria-current])",
                "borderBottomWidth",
            ),
        ] {
            let style = |selector: &str| {
                format!("getComputedStyle(document.querySelector('{selector}')).{edge}")
            };
            let [is, not] = [chosen, other].map(|selector| page.evaluate(&style(selector)));
            if is == not {
                wrong.push(format!("{scheme}: {chosen} and {other}: {edge} {is}"));
            }
        }
        rules(&mut page, &format!("{scheme}, picture"));
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
    page.close();
}

/// With forced colours and without: what is in focus shows a ring, a mark or other colours.
#[test]
fn focus_is_seen_wherever_it_goes() {
    let (_server, _profile, mut page) = open();
    page.viewport(1280, 900);
    for forced in [false, true] {
        if forced {
            force_colours(&mut page, "dark");
        }
        let mut wrong: Vec<String> = Vec::new();
        let mut walk = |page: &mut Browser, screen: &str| {
            page.evaluate("document.activeElement.blur()");
            // A dialog shuts off what is behind it.
            let behind = if screen == "#delete" {
                ""
            } else {
                "header a, "
            };
            let all = format!(
                "[...document.querySelectorAll('{behind}{screen} :is(a[href], button, input, select, textarea, summary, [tabindex=\"0\"])')]
                   .filter((e) => e.checkVisibility() && !e.disabled && !(e.type === 'radio' && !e.checked) && !e.closest('.shelf li ~ li, .steps tr ~ tr ~ tr, .colour-list li ~ li, .tube-list li ~ li, .strips button ~ button'))"
            );
            let names = page.evaluate(&format!("{all}.map((e) => e.outerHTML.slice(0, 110))"));
            for (i, what) in names.as_array().expect("a list").iter().enumerate() {
                // A file is chosen by its label.
                page.evaluate(&format!(
                    "(() => {{ document.querySelectorAll('[data-rung]').forEach((old) => delete old.dataset.rung);
                       const e = {all}[{i}];
                       (e.type === 'file' ? document.querySelector(`label[for=${{e.id}}]`) : e).dataset.rung = '';
                       e.scrollIntoView({{ block: 'center', behavior: 'instant' }}); document.activeElement.blur(); }})()"
                ));
                let before = shot(page, "[data-rung]", 7.0);
                // As by the keyboard.
                page.evaluate(&format!(
                    "{all}[{i}].focus({{ preventScroll: true, focusVisible: true }})"
                ));
                page.evaluate("new Promise((next) => requestAnimationFrame(() => requestAnimationFrame(() => next(1))))");
                let after = shot(page, "[data-rung]", 7.0);
                let count = changed(&before, &after);
                if count < 40 {
                    wrong.push(format!("forced {forced}, {screen}: {count} pixels: {what}"));
                }
            }
        };
        go(&mut page, "cards");
        if page.evaluate("!document.querySelector('#card').hidden") == true {
            page.click("#card [data-do=another]");
        }
        page.wait("document.querySelectorAll('#start .track .tick').length > 0");
        walk(&mut page, "#start");
        read(&mut page, &samples::samples()[0].scan);
        walk(&mut page, "#card");
        if !forced {
            name_and_keep(&mut page, "first");
        }
        shelf_has(&mut page, 1);
        walk(&mut page, "#tubes");
        page.click("#tubes [data-kept] button[aria-label^=Delete]");
        page.wait("document.querySelector('#delete').open");
        walk(&mut page, "#delete");
        page.click("#delete button[value=no]");
        page.click("#tubes [data-kept] button[aria-label^=Open]");
        page.wait("!document.querySelector('#tube').hidden && document.querySelector('#tube h1').textContent");
        page.evaluate(
            "document.querySelectorAll('#tube details').forEach((fold) => (fold.open = true))",
        );
        walk(&mut page, "#tube");
        go(&mut page, "cards");
        page.click("#card [data-do=another]");
        let two: Vec<PathBuf> = samples::samples()
            .into_iter()
            .take(2)
            .map(|sample| sample.scan)
            .collect();
        page.upload("#scan", &two);
        page.wait("document.querySelectorAll('#class tbody tr').length >= 2 && !document.querySelector('#class [data-do=keep-all]').disabled");
        walk(&mut page, "#class");
        page.click("#class [data-do=close-class]");
        go(&mut page, "picture");
        picture::picture_has(&mut page, 1);
        walk(&mut page, "#picture");
        page.click("#picture a[href='#glass']");
        if !forced {
            page.click("[data-do=glass-sample]");
        }
        page.wait("!document.querySelector('#glass [data-part=open]').hidden");
        page.click("#glass label:has([name=tool][value=brush])");
        walk(&mut page, "#glass");
        assert!(wrong.is_empty(), "{}", wrong.join("\n"));
    }
    page.close();
}

/// The card stays beside its words while these are scrolled; what is in focus on it is seen all the same.
#[test]
fn what_is_in_focus_is_within_the_window() {
    let (_server, _profile, mut page) = open();
    page.viewport(1280, 700);
    read(&mut page, &samples::samples()[0].scan);
    let out = "(() => {
        document.querySelectorAll('#card details').forEach((fold) => (fold.open = true));
        const out = [];
        for (const e of document.querySelectorAll('#card :is(button, summary, input:not([type=file]), textarea)')) {
          if (!e.checkVisibility() || e.disabled) continue;
          document.activeElement.blur();
          window.scrollTo({ top: 0, behavior: 'instant' });
          e.focus({ focusVisible: true });
          const { top, bottom } = e.getBoundingClientRect();
          // A fraction of a pixel is not seen, nor scrolled for.
          if (top < -0.5 || bottom > innerHeight + 0.5) out.push(`${e.outerHTML.slice(0, 90)} ${top} to ${bottom}`);
        }
        return out;
      })()";
    assert_eq!(page.evaluate(out), json!([]));
    page.close();
}

/// A finger goes from a place in the window by so much, and leaves.
fn finger(page: &mut Browser, from: [f64; 2], by: [f64; 2]) {
    touched(page, from, by, "touchEnd");
}

/// The same, but the browser takes what it holds from under it.
fn taken(page: &mut Browser, from: [f64; 2], by: [f64; 2]) {
    touched(page, from, by, "touchCancel");
}

fn touched(page: &mut Browser, [x, y]: [f64; 2], [dx, dy]: [f64; 2], end: &str) {
    let touch = |page: &mut Browser, kind: &str, points: Value| {
        page.call_page(
            "Input.dispatchTouchEvent",
            json!({"type": kind, "touchPoints": points}),
        );
    };
    touch(page, "touchStart", json!([{"x": x, "y": y}]));
    for step in 1..=8 {
        let share = f64::from(step) / 8.0;
        touch(
            page,
            "touchMove",
            json!([{"x": x + share * dx, "y": y + share * dy}]),
        );
    }
    touch(page, end, json!([]));
    page.evaluate("new Promise((done) => setTimeout(() => done(1), 400))");
}

/// Where something is in the window.
fn place(page: &mut Browser, selector: &str) -> [f64; 2] {
    let at = page.evaluate(&format!(
        "(() => {{ const r = document.querySelector('{selector}').getBoundingClientRect(); return [r.x + r.width / 2, r.y + r.height / 2]; }})()"
    ));
    serde_json::from_value(at).expect("a place")
}

#[test]
fn a_finger_that_scrolls_the_page_pulls_no_film_and_moves_no_edge() {
    let (_server, _profile, mut page) = open();
    page.viewport(390, 844);
    page.call_page(
        "Emulation.setTouchEmulationEnabled",
        json!({"enabled": true}),
    );
    page.wait("document.querySelectorAll('#start .track .tick').length > 0");
    let build = "document.querySelector('#start .pull output').textContent";
    let stood = page.evaluate(build);
    let band = place(&mut page, "#start .band");
    finger(&mut page, band, [0.0, -120.0]);
    assert_eq!(page.evaluate(build), stood);
    assert!(page.evaluate("scrollY").as_f64() > Some(50.0));
    page.evaluate("scrollTo(0, 0)");
    let band = place(&mut page, "#start .band");
    finger(&mut page, band, [120.0, 0.0]);
    assert_ne!(page.evaluate(build), stood);
    // A film on its way that the browser takes from under the finger stays where it is seen; one that waited was not pulled.
    let stood = page.evaluate(build);
    taken(&mut page, band, [-60.0, 0.0]);
    let pulled = page.evaluate(build);
    assert_ne!(pulled, stood);
    taken(&mut page, band, [4.0, 0.0]);
    finger(&mut page, band, [0.0, -40.0]);
    assert_eq!(page.evaluate(build), pulled);

    read(&mut page, &samples::samples()[0].scan);
    page.evaluate("scrollTo(0, 0)");
    let edge = |page: &mut Browser| {
        page.wait("!document.querySelector('#card .busy')");
        page.evaluate("document.querySelector('#card [data-grip=film-0-bottom]').getAttribute('aria-valuenow')")
    };
    let stood = edge(&mut page);
    let line = "#card [data-grip=film-0-bottom] .edge";
    let at = place(&mut page, line);
    finger(&mut page, at, [0.0, -120.0]);
    assert_eq!(edge(&mut page), stood);
    assert!(page.evaluate("scrollY").as_f64() > Some(50.0));
    // Chosen, it moves.
    let at = place(&mut page, line);
    page.focus("#card [data-grip=film-0-bottom]");
    let again = place(&mut page, line);
    assert!((at[0] - again[0]).abs() < 1.0);
    finger(&mut page, again, [0.0, 12.0]);
    assert_ne!(edge(&mut page), stood);
    // And its knob at once.
    let stood = edge(&mut page);
    page.evaluate("document.activeElement.blur()");
    let knob = place(&mut page, "#card [data-grip=film-0-bottom] .knob");
    finger(&mut page, knob, [0.0, -12.0]);
    assert_ne!(edge(&mut page), stood);
    // An edge that is taken from under the finger stays where it is seen, and is one step.
    let stood = edge(&mut page);
    let knob = place(&mut page, "#card [data-grip=film-0-bottom] .knob");
    taken(&mut page, knob, [0.0, 9.0]);
    let moved = edge(&mut page);
    assert_ne!(moved, stood);
    page.click("#card [data-do=undo]");
    page.wait("document.querySelector('#card [data-do=redo]').ariaDisabled !== 'true'");
    assert_eq!(edge(&mut page), stood);
    page.click("#card [data-do=redo]");
    page.wait("document.querySelector('#card [data-do=redo]').ariaDisabled === 'true'");
    assert_eq!(edge(&mut page), moved);
    page.close();
}

/// The link past the names of the places is no place: it leaves the one that is shown.
#[test]
fn the_link_past_the_names_stays_where_one_is() {
    let (_server, _profile, mut page) = open();
    for place in ["tubes", "picture", "sure"] {
        go(&mut page, place);
        page.focus(".skip");
        page.press("Enter");
        page.wait("document.activeElement.id === 'main'");
        assert_eq!(page.evaluate("location.hash"), format!("#{place}"));
        assert_eq!(
            page.evaluate(&format!("document.querySelector('#{place}').hidden")),
            false
        );
    }
    page.close();
}

/// What switches itself off, goes or is hidden hands the keys on; a browser drops them to the whole page.
#[test]
fn keys_go_on_from_beside_what_was_pressed() {
    let (_server, _profile, mut page) = open();
    let lost = "document.activeElement === document.body";
    read(&mut page, &samples::samples()[0].scan);
    page.focus("#card [data-grip=film-0-bottom]");
    page.press("ArrowUp");
    page.wait("document.querySelector('#card [data-do=undo]').ariaDisabled !== 'true'");
    page.focus("#card [data-do=undo]");
    page.press("Enter");
    page.wait("document.querySelector('#card [data-do=undo]').ariaDisabled === 'true'");
    // What is pressed again and again keeps the keys: the next button would act otherwise.
    let films = "document.querySelectorAll('#card [data-grip$=-bottom]').length";
    let before = page.evaluate(films);
    page.press("Enter");
    page.press("Enter");
    page.wait("document.activeElement.dataset.do === 'undo'");
    page.focus("#card [data-do=redo]");
    page.press("Enter");
    page.wait("document.querySelector('#card [data-do=redo]').ariaDisabled === 'true'");
    page.press("Enter");
    page.press("Enter");
    page.wait(
        "document.activeElement.dataset.do === 'redo' && !document.querySelector('#card .busy')",
    );
    assert_eq!(page.evaluate(films), before);
    // What was pressed is taken away with all around it: on bare card there is no film, and that was the answer.
    page.click("#card [data-do=add-film]");
    let answer = "[...document.querySelectorAll('#card [data-part=question] button')].find((node) => node.textContent === 'No film there')";
    page.wait(answer);
    page.wait("!document.querySelector('#card .busy')");
    page.evaluate(&format!("{answer}.focus()"));
    page.press("Enter");
    page.wait(&format!(
        "!({answer}) && !document.querySelector('#card .busy')"
    ));
    page.wait(&format!("!({lost})"));
    page.focus("#card [data-do=another]");
    page.press("Enter");
    page.wait("!document.querySelector('#start').hidden");
    page.wait(&format!("!({lost})"));
    page.focus("#start [data-do=back]");
    page.press("Enter");
    page.wait(READ);
    page.wait(&format!("!({lost})"));
    page.upload(
        "#second",
        &[Path::new(env!("CARGO_MANIFEST_DIR")).join("Cargo.toml")],
    );
    page.wait("!document.querySelector('#alert').hidden");
    page.focus("#alert [data-do=close-alert]");
    page.press("Enter");
    page.wait("document.querySelector('#alert').hidden");
    page.wait(&format!("!({lost})"));
    page.close();
}

/// Cards to print and how to make one are at hand whatever is open, and numbers go on from the last card that was saved.
#[test]
fn making_a_card_is_reached_from_everywhere() {
    let (_server, _profile, mut page) = open();
    read(&mut page, &samples::samples()[0].scan);
    page.click("footer a[href='#make']");
    page.wait("!document.querySelector('#start').hidden && document.querySelector('[data-fold=making]').open");
    page.wait_for_text("” is open.");
    page.click("#start [data-do=save-cards]");
    page.download();
    page.wait("document.querySelector('#start input[name=first]').value === '3'");
    page.reload();
    page.wait("document.querySelector('#start input[name=first]').value === '3'");
    page.click("#start [data-part=open-now] a");
    page.wait(READ);
    page.click(".brand");
    page.wait("!document.querySelector('#start').hidden");
    page.close();
}

/// A file's name is offered for its tube, and not put where something is typed.
#[test]
fn a_file_offers_its_name() {
    let (_server, _profile, mut page) = open();
    let scan = samples::samples()[0].scan.with_file_name("weed-amber.jpg");
    read(&mut page, &scan);
    page.click("#card [data-do=suggested]");
    page.wait("document.querySelector('#card input[name=name]').value === 'weed amber'");
    assert_eq!(
        page.evaluate("document.querySelector('#card [data-do=suggested]').hidden"),
        true
    );
    page.click("#card [data-do=keep]");
    page.wait_for_text("Kept on this computer.");
    page.close();
}
