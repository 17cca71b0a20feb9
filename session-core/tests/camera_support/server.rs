//! A small HTTP server on loopback whose every byte a test decides.

use std::io::{BufRead, BufReader, Write};
use std::net::{TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread::{self, JoinHandle};

/// Ends with this value.
pub struct Server {
    pub port: u16,
    /// Request line and headers of every request.
    pub requests: Arc<Mutex<Vec<String>>>,
    ended: Arc<AtomicBool>,
    thread: Option<JoinHandle<()>>,
}

impl Server {
    /// Answers each request with `answer`, given its number from 0, its text and the open line.
    pub fn start(answer: impl Fn(usize, &str, &mut TcpStream) + Send + Sync + 'static) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let requests = Arc::new(Mutex::new(Vec::new()));
        let ended = Arc::new(AtomicBool::new(false));
        let (seen, end, answer) = (Arc::clone(&requests), Arc::clone(&ended), Arc::new(answer));
        let thread = thread::spawn(move || {
            for stream in listener.incoming() {
                if end.load(Ordering::SeqCst) {
                    break;
                }
                let (Ok(mut stream), seen, answer) = (stream, Arc::clone(&seen), Arc::clone(&answer)) else {
                    continue;
                };
                thread::spawn(move || {
                    // A line that is opened and closed again is a probe, not a request.
                    let Some(text) = request(&stream) else { return };
                    let number = {
                        let mut seen = seen.lock().unwrap();
                        seen.push(text.clone());
                        seen.len() - 1
                    };
                    answer(number, &text, &mut stream);
                });
            }
        });
        Self { port, requests, ended, thread: Some(thread) }
    }

    pub fn url(&self, path: &str) -> String {
        format!("http://127.0.0.1:{}{path}", self.port)
    }
}

impl Drop for Server {
    fn drop(&mut self) {
        self.ended.store(true, Ordering::SeqCst);
        // Wakes the listener.
        let _ = TcpStream::connect(("127.0.0.1", self.port));
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

fn request(stream: &TcpStream) -> Option<String> {
    let mut reader = BufReader::new(stream.try_clone().ok()?);
    let mut text = String::new();
    loop {
        let mut line = String::new();
        if reader.read_line(&mut line).ok()? == 0 {
            return None;
        }
        if line == "\r\n" {
            return Some(text);
        }
        text.push_str(&line);
    }
}

/// Sends a head with these header lines and a body.
pub fn send(stream: &mut TcpStream, status: &str, headers: &[&str], body: &[u8]) {
    let lines: String = headers.iter().map(|line| format!("{line}\r\n")).collect();
    // The client may have left, as it should where the body is refused.
    let _ = stream.write_all(format!("HTTP/1.1 {status}\r\n{lines}\r\n").as_bytes());
    let _ = stream.write_all(body);
    let _ = stream.flush();
}

/// Sends a body with its true length.
pub fn send_whole(stream: &mut TcpStream, kind: &str, body: &[u8]) {
    let length = format!("Content-Length: {}", body.len());
    send(stream, "200 OK", &[&format!("Content-Type: {kind}"), &length], body);
}
