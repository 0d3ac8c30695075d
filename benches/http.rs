//! The real binary on a folder, and a plain HTTP/1.1 client with one connection kept open.
//! Shared by the kill test and the benches.

use serde_json::Value;
use std::io::{BufRead as _, BufReader, Read as _, Write as _};
use std::net::{TcpListener, TcpStream};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};

/// A server that runs until it is killed or dropped.
pub struct Server {
    child: Child,
    /// Where it listens.
    pub address: String,
}

impl Server {
    /// Starts the binary on a folder and waits until it answers.
    pub fn start(binary: &str, data: &Path, more: &[&str]) -> Self {
        let port = TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let address = format!("127.0.0.1:{port}");
        let child = Command::new(binary)
            .args(["serve", "--listen", &address, "--data"])
            .arg(data)
            .args(more)
            .env("POURBOOK_LOG", "off")
            .stderr(Stdio::null())
            .spawn()
            .unwrap();
        let begun = Instant::now();
        while TcpStream::connect(&address).is_err() {
            assert!(begun.elapsed() < Duration::from_secs(30), "the server does not answer");
            std::thread::sleep(Duration::from_millis(5));
        }
        Self { child, address }
    }

    /// Ends it as a power cut would end the process: no handler runs.
    pub fn kill(&mut self) {
        self.child.kill().unwrap();
        self.child.wait().unwrap();
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        // Killed already, when the test said so; a second kill is refused and says nothing.
        if self.child.kill().is_ok() {
            self.child.wait().unwrap();
        }
    }
}

/// A bearer token for a folder that no server needs to have open.
pub fn token(binary: &str, data: &Path) -> String {
    let made = Command::new(binary).args(["token", "Owner", "--role", "owner", "--data"]).arg(data).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    String::from_utf8(made.stdout).unwrap().trim().to_owned()
}

/// A connection that is kept open.
pub struct Connection {
    stream: BufReader<TcpStream>,
    address: String,
    token: String,
}

impl Connection {
    /// Connects.
    pub fn open(address: &str, token: &str) -> std::io::Result<Self> {
        let stream = TcpStream::connect(address)?;
        stream.set_nodelay(true)?;
        stream.set_read_timeout(Some(Duration::from_mins(1)))?;
        Ok(Self { stream: BufReader::new(stream), address: address.to_owned(), token: token.to_owned() })
    }

    /// Corrects a record as it stands, and reads the answer.
    pub fn patch(&mut self, path: &str, body: &str) -> std::io::Result<(u16, Value)> {
        let (address, token) = (&self.address, &self.token);
        let request = format!(
            "PATCH {path} HTTP/1.1\r\nHost: {address}\r\nAuthorization: Bearer {token}\r\nIf-Match: *\r\n\
             Content-Type: application/merge-patch+json\r\nContent-Length: {}\r\n\r\n{body}",
            body.len()
        );
        self.stream.get_mut().write_all(request.as_bytes())?;
        self.answer()
    }

    /// Sends a request and reads the answer: its status and body.
    pub fn send(&mut self, method: &str, path: &str, key: Option<&str>, body: Option<&str>) -> std::io::Result<(u16, Value)> {
        let mut request =
            format!("{method} {path} HTTP/1.1\r\nHost: {}\r\nAuthorization: Bearer {}\r\n", self.address, self.token);
        if let Some(key) = key {
            request = request + "Idempotency-Key: " + key + "\r\n";
        }
        if let Some(body) = body {
            let length = body.len().to_string();
            request = request + "Content-Type: application/json\r\nContent-Length: " + &length + "\r\n";
        }
        request.push_str("\r\n");
        request.push_str(body.unwrap_or(""));
        self.stream.get_mut().write_all(request.as_bytes())?;
        self.answer()
    }

    fn answer(&mut self) -> std::io::Result<(u16, Value)> {
        let broken = |what: &str| std::io::Error::new(std::io::ErrorKind::InvalidData, what.to_owned());
        let mut line = String::new();
        self.line(&mut line)?;
        let status = line.split(' ').nth(1).and_then(|s| s.parse().ok()).ok_or_else(|| broken(&line))?;
        let mut length = None;
        loop {
            self.line(&mut line)?;
            if line.is_empty() {
                break;
            }
            if let Some((name, value)) = line.split_once(':')
                && name.eq_ignore_ascii_case("content-length")
            {
                length = value.trim().parse().ok();
            }
        }
        let mut body = vec![0; length.ok_or_else(|| broken("no length"))?];
        self.stream.read_exact(&mut body)?;
        let body =
            if body.is_empty() { Value::Null } else { serde_json::from_slice(&body).map_err(|e| broken(&e.to_string()))? };
        Ok((status, body))
    }

    fn line(&mut self, line: &mut String) -> std::io::Result<()> {
        line.clear();
        if self.stream.read_line(line)? == 0 {
            return Err(std::io::ErrorKind::UnexpectedEof.into());
        }
        line.truncate(line.trim_end().len());
        Ok(())
    }

    /// Records something that must be taken.
    pub fn post(&mut self, path: &str, body: &Value) -> Value {
        let (status, answer) = self.send("POST", path, None, Some(&body.to_string())).unwrap();
        assert_eq!(status, 201, "{path} {body}: {answer}");
        answer
    }
}

/// Makes an account on a folder, signs in at the pages and answers the cookie.
pub fn sign_in(binary: &str, data: &Path, address: &str) -> String {
    let made = Command::new(binary).args(["account", "Bench", "--role", "owner", "--data"]).arg(data).output().unwrap();
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let printed = String::from_utf8(made.stdout).unwrap();
    let body = format!("name=Bench&password={}", printed.trim().lines().last().unwrap());
    let answer = plain(
        address,
        &format!(
            "POST /sign-in HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nContent-Type: application/x-www-form-urlencoded\r\n\
             Content-Length: {}\r\n\r\n{body}",
            body.len()
        ),
    );
    let cookie = answer.split("pourbook_session=").nth(1).and_then(|rest| rest.split(';').next());
    format!("pourbook_session={}", cookie.unwrap())
}

/// Looks at a page; how many bytes it is.
pub fn page(address: &str, cookie: &str, path: &str) -> usize {
    let answer =
        plain(address, &format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\nCookie: {cookie}\r\n\r\n"));
    assert!(answer.starts_with("HTTP/1.1 200"), "{path}: {}", answer.lines().next().unwrap_or(""));
    answer.len()
}

fn plain(address: &str, request: &str) -> String {
    let mut stream = TcpStream::connect(address).unwrap();
    stream.write_all(request.as_bytes()).unwrap();
    let mut answer = Vec::new();
    stream.read_to_end(&mut answer).unwrap();
    String::from_utf8_lossy(&answer).into_owned()
}
