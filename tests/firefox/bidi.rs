//! A small client of WebDriver BiDi (W3C), with which Firefox lets itself be used as a person uses it.
//!
//! As beside it for Chromium: one socket, one thread, events handled where they come in, and whatever a user of the page
//! must never meet fails the next call of any helper.

use std::collections::{HashMap, VecDeque};
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

const BROWSERS: [&str; 3] = [
    "firefox-esr",
    "firefox",
    "/Applications/Firefox.app/Contents/MacOS/firefox",
];

/// What the browser does of its own accord, it leaves here: looking for updates, reporting, first steps.
const QUIET: &str = r#"user_pref("app.normandy.enabled", false);
user_pref("app.update.disabledForTesting", true);
user_pref("browser.aboutwelcome.enabled", false);
user_pref("browser.shell.checkDefaultBrowser", false);
user_pref("datareporting.policy.dataSubmissionEnabled", false);
user_pref("extensions.update.enabled", false);
user_pref("intl.accept_languages", "en");
user_pref("network.captive-portal-service.enabled", false);
user_pref("network.connectivity-service.enabled", false);
user_pref("toolkit.telemetry.enabled", false);
"#;

/// A running headless Firefox with one page.
pub(crate) struct Browser {
    child: Child,
    socket: WebSocket<TcpStream>,
    /// Where the page may fetch from: everything else is a problem.
    origin: String,
    next_id: u64,
    answers: HashMap<u64, Value>,
    /// The last messages both ways, cut short, to be shown when a test gives up.
    recent: VecDeque<String>,
    page: String,
    problems: Vec<String>,
    forgiving: Vec<&'static str>,
    forgiven: usize,
    requests: Vec<String>,
    downloads: Folder,
    downloaded: Vec<PathBuf>,
}

impl Browser {
    /// Starts the browser on a profile and opens a page of this origin.
    pub(crate) fn open(profile: &Folder, origin: &str) -> Self {
        fs::write(profile.path().join("user.js"), QUIET).expect("the profile's settings");
        let (child, endpoint) = launch(profile.path());
        let address = endpoint.strip_prefix("ws://").expect("host and port");
        let stream = TcpStream::connect(address).expect("the browser's debugging port");
        stream.set_nodelay(true).expect("no delay");
        let config = tungstenite::protocol::WebSocketConfig::default()
            .max_message_size(Some(1 << 28))
            .max_frame_size(Some(1 << 28));
        let (socket, _) = tungstenite::client::client_with_config(
            format!("{endpoint}/session"),
            stream,
            Some(config),
        )
        .expect("a connection in WebDriver BiDi");
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
            page: String::new(),
            problems: Vec::new(),
            forgiving: Vec::new(),
            forgiven: 0,
            requests: Vec::new(),
            downloads: Folder::new("downloads"),
            downloaded: Vec::new(),
        };
        browser.call("session.new", json!({"capabilities": {}}));
        let watched = [
            "log.entryAdded",
            "network.beforeRequestSent",
            "network.responseCompleted",
            "network.fetchError",
            "browsingContext.userPromptOpened",
            "browsingContext.downloadEnd",
        ];
        browser.call("session.subscribe", json!({"events": watched}));
        let downloads = browser.downloads.path().to_str().expect("a path in UTF-8");
        let behavior = json!({"type": "allowed", "destinationFolder": downloads});
        browser.call(
            "browser.setDownloadBehavior",
            json!({"downloadBehavior": behavior}),
        );
        let tree = browser.call("browsingContext.getTree", json!({}));
        let page = tree["contexts"][0]["context"].as_str().expect("a window");
        page.clone_into(&mut browser.page);
        let size = json!({"context": browser.page, "viewport": {"width": 1280, "height": 900}});
        browser.call("browsingContext.setViewport", size);
        let to = json!({"context": browser.page, "url": origin, "wait": "complete"});
        browser.call("browsingContext.navigate", to);
        browser
    }

    /// Loads the page again.
    #[track_caller]
    pub(crate) fn reload(&mut self) {
        let page = json!({"context": self.page, "wait": "complete"});
        self.call("browsingContext.reload", page);
    }

    /// The value of a JavaScript expression, awaited when it is a promise.
    #[track_caller]
    pub(crate) fn evaluate(&mut self, expression: &str) -> Value {
        let ask = json!({
            "expression": format!("(async () => JSON.stringify(await ({expression})))()"),
            "target": {"context": self.page}, "awaitPromise": true, "userActivation": true,
        });
        let got = self.call("script.evaluate", ask);
        assert_eq!(
            got["type"], "success",
            "{expression}\nthrew {}",
            got["exceptionDetails"]["text"]
        );
        // What has no text in JSON is undefined.
        got["result"]["value"].as_str().map_or(Value::Null, |text| {
            serde_json::from_str(text).expect("JSON from the page")
        })
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
                let picture = self.screenshot("firefox-gave-up");
                let text = self.evaluate("document.body.innerText");
                panic!(
                    "waited in vain for: {expression}\nthe page ({}) says:\n{text}",
                    picture.display()
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

    /// Where the middle of an element is on the screen, once it is there, visible, on top and no longer moving.
    #[track_caller]
    pub(crate) fn middle(&mut self, selector: &str) -> [f64; 2] {
        let at = self.wait(&browsing::middle(selector));
        [0, 1].map(|i| at[i].as_f64().expect("a coordinate"))
    }

    /// Clicks the middle of an element as a mouse does: it must be there, visible and not covered.
    #[track_caller]
    pub(crate) fn click(&mut self, selector: &str) {
        let at = self.middle(selector);
        self.mouse(&[
            moved(at),
            json!({"type": "pointerDown", "button": 0}),
            json!({"type": "pointerUp", "button": 0}),
        ]);
    }

    /// Presses the button at a point, moves in steps and lets go elsewhere. CSS pixels of the window.
    #[track_caller]
    pub(crate) fn drag(&mut self, from: [f64; 2], to: [f64; 2]) {
        const STEPS: u32 = 8;
        let mut actions = vec![moved(from), json!({"type": "pointerDown", "button": 0})];
        actions.extend((1..=STEPS).map(|step| {
            let share = f64::from(step) / f64::from(STEPS);
            moved([0, 1].map(|i| from[i] + share * (to[i] - from[i])))
        }));
        actions.push(json!({"type": "pointerUp", "button": 0}));
        self.mouse(&actions);
    }

    #[track_caller]
    fn mouse(&mut self, actions: &[Value]) {
        let mouse = json!({"type": "pointer", "id": "mouse", "parameters": {"pointerType": "mouse"}, "actions": actions});
        self.call(
            "input.performActions",
            json!({"context": self.page, "actions": [mouse]}),
        );
    }

    /// Presses and lets go one key after the other: a character, or one of WebDriver's code points for other keys.
    #[track_caller]
    pub(crate) fn keys(&mut self, keys: &str) {
        let actions: Vec<Value> = keys
            .chars()
            .flat_map(|key| ["keyDown", "keyUp"].map(|kind| json!({"type": kind, "value": key})))
            .collect();
        let keys = json!({"type": "key", "id": "keys", "actions": actions});
        self.call(
            "input.performActions",
            json!({"context": self.page, "actions": [keys]}),
        );
    }

    /// Chooses files in an `<input type=file>`, as its dialog would.
    #[track_caller]
    pub(crate) fn upload(&mut self, selector: &str, files: &[PathBuf]) {
        self.wait(&format!("!!document.querySelector({})", json!(selector)));
        let find = json!({"context": self.page, "locator": {"type": "css", "value": selector}});
        let found = self.call("browsingContext.locateNodes", find);
        let element = json!({"sharedId": found["nodes"][0]["sharedId"]});
        self.call(
            "input.setFiles",
            json!({"context": self.page, "element": element, "files": files}),
        );
    }

    /// Waits for the next file that the page lets the user save, and gives where it lies.
    #[track_caller]
    pub(crate) fn download(&mut self) -> PathBuf {
        self.until("a download", |browser| browser.downloaded.pop())
    }

    /// Writes a picture of the window to `target/tmp/NAME.png` to look at.
    #[track_caller]
    pub(crate) fn screenshot(&mut self, name: &str) -> PathBuf {
        let shot = self.call(
            "browsingContext.captureScreenshot",
            json!({"context": self.page}),
        );
        let bytes = base64::engine::general_purpose::STANDARD
            .decode(shot["data"].as_str().expect("a picture"))
            .expect("base64 from the browser");
        let path = Path::new(env!("CARGO_TARGET_TMPDIR")).join(format!("{name}.png"));
        fs::write(&path, bytes).expect("the picture's file");
        path
    }

    /// Addresses of everything fetched so far, by the page and its workers.
    pub(crate) fn requests(&self) -> &[String] {
        &self.requests
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
        self.call("browser.close", json!({}));
        // Dropping the socket first would make the browser complain; it ends by itself.
        self.child.wait().expect("the browser to end");
    }

    #[track_caller]
    fn call(&mut self, method: &str, parameters: Value) -> Value {
        let id = self.next_id;
        self.next_id += 1;
        let message = json!({"id": id, "method": method, "params": parameters}).to_string();
        self.remember(">", &message);
        self.socket
            .send(Message::text(message))
            .expect("the browser listens");
        let answer = self.until(method, |browser| browser.answers.remove(&id));
        assert_eq!(
            answer["type"], "success",
            "{method}: {} {}",
            answer["error"], answer["message"]
        );
        answer["result"].clone()
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
                assert!(
                    self.problems.is_empty(),
                    "the page had trouble:\n{}",
                    self.problems.join("\n")
                );
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
        let about = &message["params"];
        let url = about["request"]["url"].as_str().unwrap_or_default();
        match message["method"].as_str().unwrap_or_default() {
            "log.entryAdded" if matches!(about["level"].as_str(), Some("error" | "warn")) => {
                self.trouble(format!(
                    "log: {} {}",
                    about["text"], about["stackTrace"]["callFrames"][0]["url"]
                ));
            }
            "network.beforeRequestSent" => self.requested(url),
            "network.responseCompleted"
                if about["response"]["status"]
                    .as_u64()
                    .is_none_or(|status| status >= 400) =>
            {
                self.trouble(format!(
                    "{url} was answered {}",
                    about["response"]["status"]
                ));
            }
            "network.fetchError" => self.trouble(format!("{url}: {}", about["errorText"])),
            "browsingContext.userPromptOpened" => {
                self.trouble(format!("a dialog: {}", about["message"]));
            }
            "browsingContext.downloadEnd" => match about["filepath"].as_str() {
                Some(path) => self.downloaded.push(path.into()),
                None => self.trouble(format!("the download of {} was cancelled", about["url"])),
            },
            _ => {}
        }
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
}

impl Drop for Browser {
    fn drop(&mut self) {
        // After an orderly close it has ended already.
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn moved([x, y]: [f64; 2]) -> Value {
    json!({"type": "pointerMove", "x": x, "y": y, "origin": "viewport"})
}

/// Starts the browser. Gives it and the address that it listens at.
fn launch(profile: &Path) -> (Child, String) {
    let mut child = std::env::var("FIREFOX")
        .ok()
        .iter()
        .map(String::as_str)
        .chain(BROWSERS)
        .find_map(|program| command(program, profile).spawn().ok())
        .expect(
            "no Firefox was found: install it (on Debian: apt-get install firefox-esr), or name its program in FIREFOX",
        );
    let mut lines = BufReader::new(child.stderr.take().expect("its standard error"))
        .lines()
        .map_while(Result::ok);
    let mut said = String::new();
    let endpoint = loop {
        let Some(line) = lines.next() else {
            panic!("Firefox ended before it listened; it said:\n{said}");
        };
        if let Some(endpoint) = line.strip_prefix("WebDriver BiDi listening on ") {
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
        .args(["--headless", "--no-remote", "--remote-debugging-port=0"])
        .arg("--profile")
        .arg(profile)
        .arg("about:blank")
        // It refuses to run as root in somebody else's home.
        .env("HOME", profile)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::piped());
    command
}
