//! Arguments, and what each command does.

use clap::{Parser, Subcommand};
use pourbook::app::{self, account, check, export, serve};
use pourbook::book::token;
use pourbook::db::{self, Acknowledge, Db, Options};
use pourbook::demo;
use pourbook::kernel::{Actor, Clock, Role};
use std::io::IsTerminal as _;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use tracing_subscriber::EnvFilter;

/// The book of a small ceramic-shell foundry.
#[derive(Parser)]
#[command(version, about)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Serve the book.
    Serve {
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
        /// Where to listen.
        #[arg(long, env = "POURBOOK_LISTEN", default_value = "127.0.0.1:8080")]
        listen: SocketAddr,
        /// Acknowledge what a crash may lose: the control of the kill test, and nothing else.
        #[arg(long, hide = true)]
        acknowledge_before_commit_unsafe: bool,
    },
    /// Serve a filled demonstration shop; made in a fresh folder if there is none there.
    Demo {
        /// The folder of the demonstration shop.
        #[arg(long, default_value = "demo-data")]
        data: PathBuf,
        /// Where to listen.
        #[arg(long, env = "POURBOOK_LISTEN", default_value = "127.0.0.1:8080")]
        listen: SocketAddr,
        /// The same seed makes the same shop.
        #[arg(long, default_value_t = demo::SEED)]
        seed: u64,
        /// Fill it, and do not serve it.
        #[arg(long)]
        no_serve: bool,
    },
    /// Make a bearer token and print it once.
    Token {
        /// Whose it is.
        name: String,
        /// owner, hand or reader.
        #[arg(long, required_unless_present = "revoke")]
        role: Option<String>,
        /// End the token of that name instead: a lost tablet is shut out at once.
        #[arg(long, conflicts_with = "role")]
        revoke: bool,
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
    },
    /// Let a person sign in at the pages, or set a new password; printed once.
    Account {
        /// Whose it is: written beside what they record.
        name: String,
        /// owner, hand or reader.
        #[arg(long, required_unless_present = "end")]
        role: Option<String>,
        /// Shut that person out instead.
        #[arg(long, conflicts_with = "role")]
        end: bool,
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
    },
    /// Write a whole copy of the book; safe while it is served.
    Backup {
        /// The file to write; must not exist.
        file: PathBuf,
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
    },
    /// Put a copy in place of the book; what was there is kept beside it.
    Restore {
        /// The copy.
        file: PathBuf,
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
    },
    /// Write every table as JSON Lines, and what the columns mean; safe while it is served.
    Export {
        /// The folder to write to; new or empty.
        folder: PathBuf,
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
    },
    /// Look the book over: file, journal, and, with --rebuild, everything derived.
    Check {
        /// Derive everything anew, compare, and put right what differs.
        #[arg(long)]
        rebuild: bool,
        /// The folder of the book.
        #[arg(long, env = "POURBOOK_DATA", default_value = "data")]
        data: PathBuf,
    },
    /// Whether a server answers.
    Health {
        /// Where it listens.
        #[arg(long, env = "POURBOOK_LISTEN", default_value = "127.0.0.1:8080")]
        listen: SocketAddr,
    },
    /// Print the API document.
    Openapi,
    /// Print the schema of a new book.
    Schema,
}

fn main() -> ExitCode {
    let filter = EnvFilter::try_from_env("POURBOOK_LOG").unwrap_or_else(|_| EnvFilter::new("info"));
    tracing_subscriber::fmt()
        .with_env_filter(filter)
        .with_ansi(std::io::stderr().is_terminal())
        .with_writer(std::io::stderr)
        .init();
    let arguments = Arguments::parse();
    let runtime = match tokio::runtime::Builder::new_multi_thread().enable_all().build() {
        Ok(runtime) => runtime,
        Err(e) => {
            eprintln!("pourbook: {e}");
            return ExitCode::FAILURE;
        }
    };
    match runtime.block_on(run(arguments.command)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(said) => {
            eprintln!("pourbook: {said}");
            ExitCode::FAILURE
        }
    }
}

async fn run(command: Command) -> Result<(), String> {
    match command {
        Command::Serve { data, listen, acknowledge_before_commit_unsafe } => {
            let acknowledge = if acknowledge_before_commit_unsafe { Acknowledge::BeforeCommit } else { Acknowledge::AfterCommit };
            if acknowledge == Acknowledge::BeforeCommit {
                tracing::error!("records are acknowledged before they are written: a crash loses them");
            }
            serve::run(&data, listen, Options { acknowledge, ..Options::default() }).await
        }
        Command::Demo { data, listen, seed, no_serve } => {
            make_demo(&data, seed).await?;
            if no_serve { Ok(()) } else { serve::run(&data, listen, Options::default()).await }
        }
        Command::Token { name, role, revoke, data } => {
            let role = Role::parse(role.as_deref().unwrap_or("reader")).ok_or("The role is owner, hand or reader.")?;
            let name = name.trim().to_owned();
            if name.is_empty() || name.chars().count() > 64 || name.chars().any(char::is_control) {
                return Err("Give a name of 1 to 64 characters.".into());
            }
            let clock = Clock::system()?;
            let options = Options { exclusive: false, ..Options::default() };
            let db = Db::open(&data, options, clock.clone(), app::SETTLERS).await?;
            let secret = token::mint(&clock);
            let mut tx = db.write(Actor::new("command line", Role::Owner)).await.map_err(|p| p.to_string())?;
            if revoke {
                let ended = token::revoke(&mut tx, &name).await.map_err(|p| p.to_string())?;
                tx.save(()).await.map_err(|p| p.to_string())?;
                db.close().await;
                return if ended == 0 { Err(format!("No token is named {name}.")) } else { Ok(()) };
            }
            if token::in_use(&mut tx, &name).await.map_err(|p| p.to_string())? {
                return Err(format!("There is a token named {name}. Give another name, or end that one with --revoke."));
            }
            token::keep(&mut tx, &secret, &name, role);
            tx.save(()).await.map_err(|p| p.to_string())?;
            db.close().await;
            app::say(format_args!("{secret}"))?;
            Ok(())
        }
        Command::Account { name, role, end, data } => account::run(&data, &name, role.as_deref(), end).await,
        Command::Backup { file, data } => {
            db::backup_to(&data.join("pourbook.db"), &file).await?;
            app::say(format_args!("{} is a whole copy of the book, looked over.", file.display()))?;
            Ok(())
        }
        Command::Restore { file, data } => {
            let kept = db::restore_from(&file, &data).await?;
            match kept {
                Some(kept) => {
                    app::say(format_args!(
                        "The book in {} is now the copy; the one before is kept as {}.",
                        data.display(),
                        kept.display()
                    ))?;
                }
                None => app::say(format_args!("The book in {} is now the copy.", data.display()))?,
            }
            Ok(())
        }
        Command::Export { folder, data } => export::run(&data, &folder).await,
        Command::Check { rebuild, data } => check::run(&data, rebuild).await,
        Command::Health { listen } => health(listen).await,
        Command::Openapi => {
            let scratch = Scratch::new()?;
            let db = Db::open(&scratch.0, Options::default(), Clock::system()?, app::SETTLERS).await?;
            let document = app::document(&app::all_routes(&app::kit(&db)));
            app::say(format_args!("{}", serde_json::to_string_pretty(&document).map_err(|e| e.to_string())?))?;
            db.close().await;
            Ok(())
        }
        Command::Schema => {
            let scratch = Scratch::new()?;
            let db = Db::open(&scratch.0, Options::default(), Clock::system()?, app::SETTLERS).await?;
            app::say(format_args!("{}", db::schema_dump(&db).await?.trim_end()))?;
            db.close().await;
            Ok(())
        }
    }
}

async fn make_demo(data: &Path, seed: u64) -> Result<(), String> {
    eprintln!("Filling the demonstration shop in {}; this takes a while.", data.display());
    let Some(told) = demo::make(data, seed).await? else {
        app::say(format_args!("There is a book in {} already; it is used as it is.", data.display()))?;
        return Ok(());
    };
    app::say(format_args!(
        "{} castings in {} shells, {} heats. Its tokens, shown this once:",
        told.castings, told.shells, told.heats
    ))?;
    for token in told.tokens {
        app::say(format_args!("{:<7} {:<15} {}", token.role.name(), token.name, token.secret))?;
    }
    Ok(())
}

async fn health(listen: SocketAddr) -> Result<(), String> {
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
    let local = if listen.ip().is_unspecified() { SocketAddr::new([127, 0, 0, 1].into(), listen.port()) } else { listen };
    let asked = async {
        let mut stream = tokio::net::TcpStream::connect(local).await?;
        stream.write_all(b"GET /health HTTP/1.1\r\nHost: localhost\r\nConnection: close\r\n\r\n").await?;
        let mut answer = String::new();
        stream.read_to_string(&mut answer).await?;
        Ok::<_, std::io::Error>(answer)
    };
    let answer = tokio::time::timeout(std::time::Duration::from_secs(5), asked)
        .await
        .map_err(|_| format!("{local} does not answer."))?
        .map_err(|e| format!("{local}: {e}"))?;
    if answer.starts_with("HTTP/1.1 200") { Ok(()) } else { Err(format!("{local} answers, but not that all is well.")) }
}

/// A folder that is gone afterwards.
struct Scratch(PathBuf);

impl Scratch {
    fn new() -> Result<Self, String> {
        let name: [u8; 8] = Clock::system()?.bytes();
        let name = name.iter().map(|b| format!("{b:02x}")).collect::<Vec<_>>().concat();
        let path = std::env::temp_dir().join(format!("pourbook-{name}"));
        std::fs::create_dir(&path).map_err(|e| format!("{}: {e}", path.display()))?;
        Ok(Self(path))
    }
}

impl Drop for Scratch {
    fn drop(&mut self) {
        if let Err(e) = std::fs::remove_dir_all(&self.0) {
            tracing::warn!("{} could not be removed: {e}", self.0.display());
        }
    }
}
