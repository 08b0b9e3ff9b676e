//! A small client of Chromium's DevTools protocol: what the tests need to use the page as a person does.
//!
//! One socket, one thread. Every message that is not the awaited answer is an event; events are handled where they
//! come in. Whatever a user of the page must never meet (an exception, an error on the console, a request to another
//! origin, a crash) is a *problem*: the next call of any helper fails the test with it.

use std::collections::{HashMap, HashSet, VecDeque};
use std::fs;
use std::io::{BufRead, BufReader, ErrorKind};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

use base64::Engine;
use serde_json::{Value, json};
use tungstenite::{Message, WebSocket};

#[path = "../support/browsing.rs"]
mod browsing;

pub(crate) use browsing::Folder;
use browsing::PATIENCE;

const BROWSERS: [&str; 5] = [
    "chromium",
    "chromium-browser",
    "google-chrome-stable",
    "google-chrome",
    "/Applications/Google Chrome.app/Contents/MacOS/Google Chrome",
];

/// A running headless Chromium with one page.
pub(crate) struct Browser {
    child: Child,
    socket: WebSocket<TcpStream>,
    /// Where this page may fetch from: everything else is a problem.
    origin: String,
    next_id: u64,
    answers: HashMap<u64, Value>,
    /// The last messages both ways, cut short, to be shown when a test gives up.
    recent: VecDeque<String>,
    /// Sessions by target.
    sessions: HashMap<String, String>,
    /// Service workers, by session and by target.
    passing: HashSet<String>,
    /// Sessions of workers, the newest last.
    workers: Vec<String>,
    page: String,
    /// The private window's storage.
    private: String,
    problems: Vec<String>,
    forgiving: Vec<&'static str>,
    forgiven: usize,
    requests: Vec<String>,
    dialogs: Vec<String>,
    loaded: bool,
    downloads: Folder,
    downloading: HashMap<String, String>,
    downloaded: Vec<PathBuf>,
}

impl Browser {
    /// Starts the browser on a profile and opens a page of this origin.
    pub(crate) fn open(profile: &Folder, origin: &str) -> Self {
        let (child, endpoint) = launch(profile.path());
        let address = endpoint
            .strip_prefix("ws://")
            .and_then(|rest| rest.split('/').next())
            .expect("host and port");
        let stream = TcpStream::connect(address).expect("the browser's debugging port");
        stream.set_nodelay(true).expect("no delay");
        let config = tungstenite::protocol::WebSocketConfig::default()
            .max_message_size(Some(1 << 28))
            .max_frame_size(Some(1 << 28));
        let (socket, _) =
            tungstenite::client::client_with_config(endpoint.as_str(), stream, Some(config))
                .expect("a DevTools connection");
        socket
            .get_ref()
            .set_read_timeout(Some(Duration::from_millis(100)))
            .expect("a read timeout");
        let mut browser = Self {
            child,
            socket,
            origin: origin.to_owned(),
            next_id: 1,
            answers: HashMap::new(),
            recent: VecDeque::new(),
            sessions: HashMap::new(),
            passing: HashSet::new(),
            workers: Vec::new(),
            page: String::new(),
            private: String::new(),
            problems: Vec::new(),
            forgiving: Vec::new(),
            forgiven: 0,
            requests: Vec::new(),
            dialogs: Vec::new(),
            loaded: false,
            downloads: Folder::new("downloads"),
            downloading: HashMap::new(),
            downloaded: Vec::new(),
        };
        browser.call("", "Target.setAutoAttach", auto_attach());
        let service_workers = json!({"discover": true, "filter": [{"type": "service_worker"}]});
        browser.call("", "Target.setDiscoverTargets", service_workers);
        let downloads = browser
            .downloads
            .path()
            .to_str()
            .expect("a path in UTF-8")
            .to_owned();
        let behaviour =
            json!({"behavior": "allow", "downloadPath": downloads, "eventsEnabled": true});
        browser.call("", "Browser.setDownloadBehavior", behaviour);
        browser.new_page();
        browser.go(origin);
        browser
    }

    /// Most memory in bytes that any one process of this browser has held; 0 where the system does not say.
    #[allow(dead_code, reason = "for benches")]
    pub(crate) fn most_memory(&self) -> f64 {
        let field = |process: &str, name: &str| -> Option<f64> {
            let status = fs::read_to_string(format!("/proc/{process}/status")).ok()?;
            let line = status.lines().find_map(|line| line.strip_prefix(name))?;
            line.split_whitespace().next()?.parse().ok()
        };
        let mine = |process: &str| {
            let mut process = process.to_owned();
            while let Some(parent) = field(&process, "PPid:").filter(|&parent| parent > 1.0) {
                if parent == f64::from(self.child.id()) {
                    return true;
                }
                process = parent.to_string();
            }
            false
        };
        let processes = fs::read_dir("/proc").into_iter().flatten().flatten();
        processes
            .filter_map(|entry| entry.file_name().into_string().ok())
            .filter(|name| name.bytes().all(|b| b.is_ascii_digit()) && mine(name))
            .filter_map(|name| field(&name, "VmHWM:"))
            .fold(0.0, |most, kilobytes| f64::max(most, 1024.0 * kilobytes))
    }

    /// The window that the helpers act on.
    pub(crate) fn window(&self) -> String {
        self.page.clone()
    }

    /// Brings a window to the front; the helpers act on it from now on.
    pub(crate) fn turn_to(&mut self, window: &str) {
        window.clone_into(&mut self.page);
        self.call_page("Page.bringToFront", json!({}));
    }

    /// Opens a new window in front; the helpers act on it from now on.
    pub(crate) fn new_page(&mut self) {
        self.page_in(json!({"url": "about:blank"}));
    }

    /// Opens a page in a private window: with a storage of its own, in memory, that ends with it.
    pub(crate) fn private_page(&mut self) {
        let made = self.call("", "Target.createBrowserContext", json!({}));
        let context = made["browserContextId"].as_str().expect("a name");
        self.private = context.to_owned();
        let downloads = self.downloads.path().to_str().expect("a path in UTF-8");
        let behaviour = json!({"behavior": "allow", "downloadPath": downloads, "eventsEnabled": true, "browserContextId": context});
        self.call("", "Browser.setDownloadBehavior", behaviour);
        self.page_in(json!({"url": "about:blank", "browserContextId": context}));
    }

    /// Closes the private window with all that is in it.
    pub(crate) fn close_private(&mut self) {
        let context = json!({"browserContextId": self.private});
        self.call("", "Target.disposeBrowserContext", context);
    }

    fn page_in(&mut self, target: Value) {
        let made = self.call("", "Target.createTarget", target);
        let target = made["targetId"].as_str().expect("a target").to_owned();
        self.until("the new page to attach", |browser| {
            browser
                .sessions
                .get(&target)
                .cloned()
                .map(|s| browser.page = s)
        });
        self.call_page("Page.enable", json!({}));
        self.viewport(1280, 900);
    }

    /// Goes to an address and waits until it has loaded.
    pub(crate) fn go(&mut self, url: &str) {
        self.loaded = false;
        let went = self.call_page("Page.navigate", json!({"url": url}));
        assert!(went["errorText"].is_null(), "{url}: {}", went["errorText"]);
        self.until("the page to load", |browser| browser.loaded.then_some(()));
    }

    /// Loads the page again.
    pub(crate) fn reload(&mut self) {
        self.loaded = false;
        self.call_page("Page.reload", json!({}));
        self.until("the page to load again", |browser| {
            browser.loaded.then_some(())
        });
    }

    /// Size of the window in CSS pixels.
    pub(crate) fn viewport(&mut self, width: u32, height: u32) {
        let size =
            json!({"width": width, "height": height, "deviceScaleFactor": 1, "mobile": false});
        self.call_page("Emulation.setDeviceMetricsOverride", size);
    }

    /// Runs a statement in the newest worker.
    #[track_caller]
    pub(crate) fn in_worker(&mut self, statement: &str) {
        self.in_older_worker(0, statement);
    }

    /// Runs a statement in a worker that was started as many workers before the newest one.
    #[track_caller]
    pub(crate) fn in_older_worker(&mut self, before: usize, statement: &str) {
        let worker = self.workers.iter().rev().nth(before).cloned();
        let worker = worker.expect("a worker");
        let got = self.call(
            &worker,
            "Runtime.evaluate",
            json!({"expression": statement}),
        );
        assert!(got.get("exceptionDetails").is_none(), "{got}");
    }

    /// The value of a JavaScript expression, awaited when it is a promise. The page's own security policy holds for it.
    #[track_caller]
    pub(crate) fn evaluate(&mut self, expression: &str) -> Value {
        let ask = json!({
            "expression": expression, "awaitPromise": true, "returnByValue": true, "userGesture": true,
            "allowUnsafeEvalBlockedByCSP": false,
        });
        let got = self.call_page("Runtime.evaluate", ask);
        if let Some(thrown) = got.get("exceptionDetails") {
            panic!("{expression}\nthrew {}", exception(thrown));
        }
        got["result"]["value"].clone()
    }

    /// Waits until an expression is true (or otherwise truthy) and gives its value.
    #[track_caller]
    pub(crate) fn wait(&mut self, expression: &str) -> Value {
        let start = Instant::now();
        loop {
            let value = self.evaluate(expression);
            if browsing::truthy(&value) {
                return value;
            }
            if start.elapsed() > PATIENCE {
                let picture = self.screenshot("gave-up");
                let text = self.evaluate("document.body.innerText");
                panic!(
                    "waited in vain for: {expression}\nthe page ({}) says:\n{}",
                    picture.display(),
                    text
                );
            }
            self.pump();
        }
    }

    /// Waits until the page's text holds these words.
    #[track_caller]
    pub(crate) fn wait_for_text(&mut self, words: &str) {
        self.wait(&format!(
            "document.body.innerText.includes({})",
            json!(words)
        ));
    }

    /// Clicks the middle of an element as a mouse does: it must be there, visible and not covered. Where something came in above
    /// it just then, so that the button went down or up beside it, once more.
    #[track_caller]
    pub(crate) fn click(&mut self, selector: &str) {
        for _ in 0..5 {
            let [x, y] = self.middle(selector);
            self.evaluate(&format!(
                "(() => {{ const e = document.querySelector({});
                   const off = ({{ target }}) => e.isConnected && !(e.contains(target) || target.closest('label')?.control === e);
                   window.missed = true;
                   addEventListener('pointerdown', (down) => {{ window.missed = off(down); }}, {{ capture: true, once: true }});
                   addEventListener('pointerup', (up) => {{ window.missed ||= off(up); }}, {{ capture: true, once: true }}); }})()",
                Value::from(selector)
            ));
            self.mouse("mouseMoved", x, y, 0);
            self.mouse("mousePressed", x, y, 1);
            self.mouse("mouseReleased", x, y, 1);
            // On another page nothing is known of it: the click has led there.
            if self.evaluate("window.missed ?? false") != Value::Bool(true) {
                return self.dawdle();
            }
        }
        panic!("{selector} went away from under the pointer five times");
    }

    /// `TWOGROUND_PACE_MS=400` waits so long after whatever the user does, until the page is done with it: a test that passes only
    /// while it is quicker than the page fails then.
    fn dawdle(&mut self) {
        let Ok(pace) = std::env::var("TWOGROUND_PACE_MS") else {
            return;
        };
        let pace = Duration::from_millis(pace.parse().expect("TWOGROUND_PACE_MS is a number"));
        let start = Instant::now();
        while start.elapsed() < pace {
            self.pump();
        }
    }

    /// Where the middle of an element is on the screen, once it is there, visible, on top and no longer moving.
    #[track_caller]
    pub(crate) fn middle(&mut self, selector: &str) -> [f64; 2] {
        let at = self.wait(&browsing::middle(selector));
        [0, 1].map(|i| at[i].as_f64().expect("a coordinate"))
    }

    /// Presses the button at a point, moves in steps and lets go elsewhere. CSS pixels of the window.
    pub(crate) fn drag(&mut self, from: [f64; 2], to: [f64; 2]) {
        const STEPS: u32 = 8;
        self.mouse("mouseMoved", from[0], from[1], 0);
        self.mouse("mousePressed", from[0], from[1], 1);
        for step in 1..=STEPS {
            let share = f64::from(step) / f64::from(STEPS);
            let [x, y] = [0, 1].map(|i| from[i] + share * (to[i] - from[i]));
            self.mouse("mouseMoved", x, y, 1);
        }
        self.mouse("mouseReleased", to[0], to[1], 1);
        self.dawdle();
    }

    fn mouse(&mut self, kind: &str, x: f64, y: f64, buttons: u32) {
        let button = if buttons == 0 { "none" } else { "left" };
        // While released, no button is down any more.
        let buttons = if kind == "mouseReleased" { 0 } else { buttons };
        let event = json!({"type": kind, "x": x, "y": y, "button": button, "buttons": buttons, "clickCount": 1});
        self.call_page("Input.dispatchMouseEvent", event);
    }

    /// Puts the focus on an element, once nothing takes it away again: the headline of a screen that has just come in takes it
    /// a moment later.
    #[track_caller]
    pub(crate) fn focus(&mut self, selector: &str) {
        let selector = Value::from(selector);
        self.wait(&format!(
            "new Promise((done) => {{
               const focused = () => document.activeElement?.matches({selector});
               if (!focused()) document.querySelector({selector})?.focus();
               const frames = (left) => left ? requestAnimationFrame(() => frames(left - 1)) : done(focused());
               frames(3);
             }})"
        ));
    }

    /// Presses and lets go one key, by its `KeyboardEvent.key` name.
    pub(crate) fn press(&mut self, key: &str) {
        self.press_with(key, 0);
    }

    /// The same with other keys held down: the sum of 1 for Alt, 2 for Control and 8 for Shift.
    pub(crate) fn press_with(&mut self, key: &str, held: u8) {
        let (code, number, text) = match key {
            "Enter" => ("Enter", 13, "\r"),
            "Tab" => ("Tab", 9, ""),
            "Escape" => ("Escape", 27, ""),
            " " => ("Space", 32, " "),
            "PageUp" => ("PageUp", 33, ""),
            "PageDown" => ("PageDown", 34, ""),
            "End" => ("End", 35, ""),
            "Home" => ("Home", 36, ""),
            "ArrowLeft" => ("ArrowLeft", 37, ""),
            "ArrowUp" => ("ArrowUp", 38, ""),
            "ArrowRight" => ("ArrowRight", 39, ""),
            "ArrowDown" => ("ArrowDown", 40, ""),
            "Delete" => ("Delete", 46, ""),
            "z" if held & 2 > 0 => ("KeyZ", 90, ""),
            "Z" if held & 2 > 0 => ("KeyZ", 90, ""),
            _ => panic!("the tests know no key {key:?}"),
        };
        let event = |kind: &str| json!({"type": kind, "key": key, "code": code, "windowsVirtualKeyCode": number, "modifiers": held});
        let mut down = event(if text.is_empty() {
            "rawKeyDown"
        } else {
            "keyDown"
        });
        if !text.is_empty() {
            down["text"] = json!(text);
        }
        self.call_page("Input.dispatchKeyEvent", down);
        self.call_page("Input.dispatchKeyEvent", event("keyUp"));
        self.dawdle();
    }

    /// Types text where the focus is, which has to be where one can type.
    #[track_caller]
    pub(crate) fn type_text(&mut self, text: &str) {
        let taken = self.evaluate("document.activeElement?.matches('input, textarea') ?? false");
        assert_eq!(taken, json!(true), "nothing takes the text {text:?}");
        self.call_page("Input.insertText", json!({"text": text}));
        self.dawdle();
    }

    /// Chooses files in an `<input type=file>`, as its dialog would.
    #[track_caller]
    pub(crate) fn upload(&mut self, selector: &str, files: &[PathBuf]) {
        self.wait(&format!("!!document.querySelector({})", json!(selector)));
        let document = self.call_page("DOM.getDocument", json!({}));
        let find = json!({"nodeId": document["root"]["nodeId"], "selector": selector});
        let node = self.call_page("DOM.querySelector", find);
        self.call_page(
            "DOM.setFileInputFiles",
            json!({"nodeId": node["nodeId"], "files": files}),
        );
        self.dawdle();
    }

    /// Drops files on an element.
    #[track_caller]
    pub(crate) fn drop_files(&mut self, selector: &str, files: &[PathBuf]) {
        let [x, y] = self.middle(selector);
        for kind in ["dragEnter", "dragOver", "drop"] {
            let data = json!({"items": [], "files": files, "dragOperationsMask": 1});
            self.call_page(
                "Input.dispatchDragEvent",
                json!({"type": kind, "x": x, "y": y, "data": data}),
            );
        }
        self.dawdle();
    }

    /// Waits for the next file that the page lets the user save, and gives where it lies.
    #[track_caller]
    pub(crate) fn download(&mut self) -> PathBuf {
        self.until("a download", |browser| browser.downloaded.pop())
    }

    /// Writes a picture of the window to `target/tmp/NAME.png` to look at.
    pub(crate) fn screenshot(&mut self, name: &str) -> PathBuf {
        let shot = self.call_page("Page.captureScreenshot", json!({"format": "png"}));
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(shot["data"].as_str().expect("a picture"))
            .expect("base64 from the browser");
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.png"));
        fs::write(&path, bytes).expect("the picture's file");
        path
    }

    /// Prints the page as PDF to `target/tmp/NAME.pdf`, on the paper that it asks for.
    pub(crate) fn print(&mut self, name: &str) -> PathBuf {
        let asked = json!({"preferCSSPageSize": true, "printBackground": true});
        let printed = self.call_page("Page.printToPDF", asked);
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(printed["data"].as_str().expect("a file"))
            .expect("base64 from the browser");
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.pdf"));
        fs::write(&path, bytes).expect("the file");
        path
    }

    /// Addresses of everything fetched so far, by the page and its workers.
    pub(crate) fn requests(&self) -> &[String] {
        &self.requests
    }

    /// Words of the `alert` and `confirm` dialogs so far (each was accepted).
    pub(crate) fn dialogs(&self) -> &[String] {
        &self.dialogs
    }

    /// From now on, problems that hold these words are only counted: for tests that make trouble.
    pub(crate) fn forgive(&mut self, words: &'static str) {
        self.forgiving.push(words);
    }

    /// How many problems were forgiven.
    pub(crate) fn forgiven(&self) -> usize {
        self.forgiven
    }

    /// Closes the browser in an orderly way. Fails the test for any problem so far.
    #[track_caller]
    pub(crate) fn close(mut self) {
        self.call("", "Browser.close", json!({}));
        // Dropping the socket first would make the browser complain; it ends by itself.
        self.child.wait().expect("the browser to end");
    }

    /// Ends the browser at once, as a power cut would.
    pub(crate) fn kill(mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
    }

    /// Calls a method on the page.
    #[track_caller]
    pub(crate) fn call_page(&mut self, method: &str, parameters: Value) -> Value {
        self.call(&self.page.clone(), method, parameters)
    }

    #[track_caller]
    fn call(&mut self, session: &str, method: &str, parameters: Value) -> Value {
        let id = self.send(session, method, parameters);
        let answer = self.until(method, |browser| browser.answers.remove(&id));
        assert!(answer["error"].is_null(), "{method}: {}", answer["error"]);
        answer["result"].clone()
    }

    fn send(&mut self, session: &str, method: &str, parameters: Value) -> u64 {
        let id = self.next_id;
        self.next_id += 1;
        let mut message = json!({"id": id, "method": method, "params": parameters});
        if !session.is_empty() {
            message["sessionId"] = json!(session);
        }
        let message = message.to_string();
        self.remember(">", &message);
        self.socket
            .send(Message::text(message))
            .expect("the browser listens");
        id
    }

    fn remember(&mut self, way: &str, message: &str) {
        const KEPT: usize = 60;
        self.recent.push_back(format!(
            "{way} {}",
            message.chars().take(300).collect::<String>()
        ));
        if self.recent.len() > KEPT {
            self.recent.pop_front();
        }
    }

    /// Handles events until `done` gives something.
    #[track_caller]
    fn until<T>(&mut self, what: &str, mut done: impl FnMut(&mut Self) -> Option<T>) -> T {
        let start = Instant::now();
        loop {
            if let Some(value) = done(self) {
                self.check();
                return value;
            }
            if start.elapsed() > PATIENCE {
                let recent: Vec<_> = self.recent.drain(..).collect();
                panic!(
                    "waited in vain for {what}; the last messages:\n{}",
                    recent.join("\n")
                );
            }
            self.pump();
        }
    }

    fn trouble(&mut self, problem: String) {
        if self.forgiving.iter().any(|words| problem.contains(words)) {
            self.forgiven += 1;
        } else {
            self.problems.push(problem);
        }
    }

    #[track_caller]
    fn check(&self) {
        assert!(
            self.problems.is_empty(),
            "the page had trouble:\n{}",
            self.problems.join("\n")
        );
    }

    /// Reads one message, or nothing if none comes within a tenth of a second.
    fn pump(&mut self) {
        let text = match self.socket.read() {
            Ok(Message::Text(text)) => text,
            Ok(_) => return,
            Err(tungstenite::Error::Io(error))
                if matches!(
                    error.kind(),
                    ErrorKind::WouldBlock | ErrorKind::TimedOut | ErrorKind::Interrupted
                ) =>
            {
                return;
            }
            Err(error) => panic!("the browser went away: {error}"),
        };
        self.remember("<", &text);
        let message: Value = serde_json::from_str(&text).expect("JSON from the browser");
        match message["id"].as_u64() {
            Some(id) => {
                self.answers.insert(id, message);
            }
            None => self.event(&message),
        }
    }

    fn event(&mut self, message: &Value) {
        let session = message["sessionId"].as_str().unwrap_or_default().to_owned();
        let about = &message["params"];
        match message["method"].as_str().unwrap_or_default() {
            "Target.attachedToTarget" => self.attached(about),
            "Target.targetCreated" => {
                let service_worker =
                    json!({"targetId": about["targetInfo"]["targetId"], "flatten": true});
                self.send("", "Target.attachToTarget", service_worker);
            }
            "Target.targetCrashed" | "Inspector.targetCrashed" => {
                let target = about["targetId"].as_str().unwrap_or(&session);
                // A service worker ends whenever the browser sees fit, and is told of in the same way.
                if !self.passing.contains(target) {
                    self.trouble("the page crashed".to_owned());
                }
            }
            "Page.loadEventFired" if session == self.page => self.loaded = true,
            "Page.javascriptDialogOpening" => {
                self.dialogs
                    .push(about["message"].as_str().unwrap_or_default().to_owned());
                self.send(
                    &session,
                    "Page.handleJavaScriptDialog",
                    json!({"accept": true}),
                );
            }
            "Runtime.exceptionThrown" => self.trouble(exception(&about["exceptionDetails"])),
            "Runtime.consoleAPICalled"
                if matches!(about["type"].as_str(), Some("error" | "warning" | "assert")) =>
            {
                self.trouble(format!("console: {}", about["args"]));
            }
            "Log.entryAdded"
                if matches!(about["entry"]["level"].as_str(), Some("error" | "warning")) =>
            {
                self.trouble(format!(
                    "log: {} {}",
                    about["entry"]["text"], about["entry"]["url"]
                ));
            }
            "Network.requestWillBeSent" => {
                self.requested(about["request"]["url"].as_str().unwrap_or_default())
            }
            "Network.webSocketCreated" => self.requested(about["url"].as_str().unwrap_or_default()),
            "Browser.downloadWillBegin" => {
                let [guid, name] = ["guid", "suggestedFilename"]
                    .map(|key| about[key].as_str().unwrap_or_default());
                self.downloading.insert(guid.to_owned(), name.to_owned());
            }
            "Browser.downloadProgress" => self.downloads_on(about),
            _ => {}
        }
    }

    /// A page, frame or worker came to life and waits: watch it, then let it go on.
    fn attached(&mut self, about: &Value) {
        let session = about["sessionId"].as_str().unwrap_or_default().to_owned();
        let target = about["targetInfo"]["targetId"]
            .as_str()
            .unwrap_or_default()
            .to_owned();
        // The browser's own windows are pages too.
        let internal = about["targetInfo"]["url"]
            .as_str()
            .is_some_and(|url| url.starts_with("chrome"));
        if internal {
            self.send(&session, "Runtime.runIfWaitingForDebugger", json!({}));
            return;
        }
        if about["targetInfo"]["type"] == "service_worker" {
            self.passing.extend([session.clone(), target.clone()]);
        }
        if about["targetInfo"]["type"] == "worker" {
            self.workers.push(session.clone());
        }
        for method in ["Runtime.enable", "Network.enable", "Log.enable"] {
            self.send(&session, method, json!({}));
        }
        self.send(&session, "Target.setAutoAttach", auto_attach());
        self.send(&session, "Runtime.runIfWaitingForDebugger", json!({}));
        self.sessions.insert(target, session);
    }

    fn requested(&mut self, url: &str) {
        let inner = url.strip_prefix("blob:").unwrap_or(url);
        let own = inner == self.origin
            || inner
                .strip_prefix(&self.origin)
                .is_some_and(|rest| rest.starts_with('/'));
        if !own && !url.starts_with("data:") && !url.starts_with("about:") {
            self.trouble(format!("a request left the origin: {url}"));
        }
        self.requests.push(url.to_owned());
    }

    fn downloads_on(&mut self, about: &Value) {
        let name = self
            .downloading
            .get(about["guid"].as_str().unwrap_or_default())
            .cloned()
            .unwrap_or_default();
        match about["state"].as_str() {
            Some("completed") => self.downloaded.push(self.downloads.path().join(name)),
            Some("canceled") => self.trouble(format!("the download of {name} was cancelled")),
            _ => {}
        }
    }
}

impl Drop for Browser {
    fn drop(&mut self) {
        // After an orderly close it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// Watches what comes to life, which waits until that is so. All but service workers: one that the browser ends and begins again
/// would wait once more, at times for ever (`Runtime.runIfWaitingForDebugger` may come to it too early), so they are found as they
/// begin and watched without. What one fetches in its first moments may go unseen; the policy that it is served with holds it to its
/// origin all the same.
fn auto_attach() -> Value {
    let others =
        ["service_worker", "browser", "tab"].map(|kind| json!({"type": kind, "exclude": true}));
    let filter = Value::from_iter(others.into_iter().chain([json!({})]));
    json!({"autoAttach": true, "waitForDebuggerOnStart": true, "flatten": true, "filter": filter})
}

fn exception(details: &Value) -> String {
    let thrown = &details["exception"];
    let words = thrown["description"]
        .as_str()
        .or(thrown["value"].as_str())
        .or(details["text"].as_str());
    format!("exception: {}", words.unwrap_or_default())
}

/// Starts the browser. Gives it and the address that its debugging socket listens at.
fn launch(profile: &Path) -> (Child, String) {
    let mut child = std::env::var("CHROMIUM")
        .ok()
        .iter()
        .map(String::as_str)
        .chain(BROWSERS)
        .find_map(|program| command(program, profile).spawn().ok())
        .expect(
            "no Chromium was found: install it (on Debian: apt-get install chromium), or name its program in CHROMIUM",
        );
    let mut lines = BufReader::new(child.stderr.take().expect("its standard error"))
        .lines()
        .map_while(Result::ok);
    let mut said = String::new();
    let endpoint = loop {
        let Some(line) = lines.next() else {
            panic!("Chromium ended before it listened; it said:\n{said}");
        };
        if let Some(endpoint) = line.strip_prefix("DevTools listening on ") {
            break endpoint.to_owned();
        }
        said += &line;
        said.push('\n');
    };
    // Unread, the pipe would fill up and stop the browser.
    std::thread::spawn(move || lines.for_each(drop));
    (child, endpoint)
}

fn command(program: &str, profile: &Path) -> Command {
    let mut command = Command::new(program);
    command
        .args([
            "--headless=new",
            "--remote-debugging-port=0",
            "--no-first-run",
            "--no-default-browser-check",
        ])
        .args([
            "--disable-background-networking",
            "--disable-component-update",
            "--disable-sync",
            "--disable-gpu",
        ])
        .args([
            "--disable-dev-shm-usage",
            "--force-color-profile=srgb",
            "--lang=en",
        ])
        .arg(format!("--user-data-dir={}", profile.display()))
        .arg("about:blank")
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    if is_root(profile) {
        // Its sandbox refuses to work for root, as in containers.
        command.arg("--no-sandbox");
    }
    command
}

/// Whether a folder that this process has just made belongs to root.
#[cfg(unix)]
fn is_root(own: &Path) -> bool {
    use std::os::unix::fs::MetadataExt;
    fs::metadata(own).is_ok_and(|data| data.uid() == 0)
}

#[cfg(not(unix))]
fn is_root(_own: &Path) -> bool {
    false
}
