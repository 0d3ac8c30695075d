//! What went wrong, in words for whoever must put it right. Knows no HTTP: `web`
//! alone turns a [`Class`] into a status.

use serde_json::{Map, Value};

/// The broad class of a problem.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub enum Class {
    /// The request cannot be read.
    Malformed,
    /// No token, or one that is not known.
    NoToken,
    /// The token may not do this.
    NotAllowed,
    /// Nothing is there.
    NotFound,
    /// The path takes other methods.
    WrongMethod,
    /// No answer in a form the caller takes.
    NotAcceptable,
    /// Another state would allow it.
    Conflict,
    /// The record has moved on.
    Stale,
    /// Too large.
    TooLarge,
    /// Not a type that is taken.
    WrongType,
    /// Readable, but wrong.
    Invalid,
    /// Say which version is meant.
    PreconditionMissing,
    /// Tried too often.
    TooMany,
    /// Try again later.
    Busy,
    /// Our fault.
    Internal,
}

macro_rules! problems {
    ($($name:ident $slug:literal $class:ident $title:literal $help:literal;)*) => {
        /// Every type of problem there is; each has a stable name and a help page.
        #[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
        pub enum ProblemType { $(#[doc = $title] $name,)* }

        impl ProblemType {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];
            /// The stable name, last part of the `type` of the answer.
            #[must_use]
            pub const fn slug(self) -> &'static str { match self { $(Self::$name => $slug,)* } }
            /// The broad class.
            #[must_use]
            pub const fn class(self) -> Class { match self { $(Self::$name => Class::$class,)* } }
            /// A short line that does not change from case to case.
            #[must_use]
            pub const fn title(self) -> &'static str { match self { $(Self::$name => $title,)* } }
            /// What it means and what to do.
            #[must_use]
            pub const fn help(self) -> &'static str { match self { $(Self::$name => $help,)* } }
        }
    };
}

problems! {
    Malformed "malformed" Malformed "The request cannot be read"
        "The body is not valid JSON in UTF-8, is nested too deeply, or the path or query cannot be read. Correct it and send it again.";
    DuplicateKey "duplicate-key" Malformed "A member stands twice in one object"
        "JSON objects may name a member once. Two values for one name cannot both be meant, so neither was taken.";
    UnknownParameter "unknown-parameter" Malformed "The query has a parameter that is not known here"
        "A misspelt filter would silently return everything, so unknown or repeated parameters are refused. The detail names those that are taken.";
    NoToken "no-token" NoToken "A token is needed"
        "Send Authorization: Bearer followed by a token. The owner makes one with pourbook token NAME --role hand.";
    NotAllowed "not-allowed" NotAllowed "This token may not do that"
        "Readers read; hands log stages and correct their own records for a day; the rest is the owner's.";
    CrossSite "cross-site" NotAllowed "Another site sent this"
        "A page of another site tried to write here through this browser. Nothing was written. Open the book itself and do it there. A proxy before the book must hand on the Host as it was asked for.";
    TooManyTries "too-many-tries" TooMany "Too many tries"
        "After a few wrong names, passwords, PINs or codes each further try must wait, longer every time. Nobody is locked out for good. The owner may set a new password with pourbook account NAME --role.";
    NotFound "not-found" NotFound "Nothing is there"
        "No record has that id, tag or number in this collection.";
    WrongMethod "wrong-method" WrongMethod "That cannot be done with this path"
        "The Allow header lists the methods that the path takes.";
    NotAcceptable "not-acceptable" NotAcceptable "Only JSON is answered here"
        "Ask for application/json.";
    WrongType "wrong-type" WrongType "The body is not of a type that is taken"
        "Send application/json; a PATCH takes application/merge-patch+json.";
    TooLarge "too-large" TooLarge "The body is too large"
        "A request body may be one megabyte. Send many records in several requests.";
    Invalid "invalid" Invalid "Some fields are wrong"
        "Every wrong field is listed under errors with a pointer to it. Nothing was written.";
    KeyReused "key-reused" Invalid "The idempotency key was used for something else"
        "A key belongs to one request for ever. Make a new key for a new record.";
    PreconditionMissing "precondition-missing" PreconditionMissing "Say which version is being changed"
        "Send If-Match with the etag of the record as last read.";
    Stale "stale" Stale "The record has been changed meanwhile"
        "Read the record again, look at what changed, and send the change with its new etag.";
    IdTaken "id-taken" Conflict "A record has that id already"
        "Ids are made once. If this was a repeat of an earlier request, the record is there.";
    AlreadyVoid "already-void" Conflict "The record is void"
        "A void is final. Record it anew.";
    InUse "in-use" Conflict "Other records depend on this one"
        "They are listed. Void them first, newest first, or, as the owner, say cascade: true (dry_run: true shows what would go).";
    NotYet "not-yet" Conflict "What must come before it is not on record"
        "Record the earlier stage first; one that is still on its way will arrive and this may be tried again. If it happened but was never logged, say despite: [not_on_record]: it is taken as it stands, flagged, and stays out of the rates that need the missing record.";
    AlloyDiffers "alloy-differs" Conflict "The metal is of another alloy than what it goes into"
        "If it really was so, say despite: [alloy_differs]. Of a piece both alloys are kept; rates and cost use the poured one.";
    LotShort "lot-short" Conflict "The lot holds less than that by the book"
        "If the bin really held more, say despite: [lot_short]: the excess comes from unexplained at no value.";
    PatternIsUnique "pattern-is-unique" Conflict "The pattern was unique and is gone"
        "A unique pattern cannot be cast again as it was. Say how: remodelled, moulded_off_failed or new_original, and despite: [pattern_is_unique].";
    ClientMetal "client-metal" Conflict "That metal belongs to a client"
        "A client's metal goes into that client's work. If it really went elsewhere, say despite: [client_metal].";
    CrucibleInUse "crucible-in-use" Conflict "The crucible is in another open heat"
        "Close the other heat first, or say despite: [crucible_in_use].";
    Opened "opened" Conflict "The shell has been opened"
        "Nothing more can be poured into, coated, patched or fired in a shell that was broken out before that time.";
    BeforeThePour "before-the-pour" Conflict "That was before the pour"
        "A shell is opened after it was poured. Check the times of both records.";
    AlreadyPoured "already-poured" Conflict "The shell was poured already"
        "A second stream into the same shell is a pour that continues the first: name it in continues_pour_id.";
    OutOfRoute "out-of-route" Conflict "The casting or shell cannot go there from where it is"
        "The detail says where it stands. Check the tag and the time.";
    TimesContradict "times-contradict" Conflict "The times contradict each other"
        "One thing must have happened before the other; check both times. A time known only to the day is held only against the day.";
    MetalBeyond "metal-beyond" Conflict "More metal comes out than went in"
        "Weighed out is more than weighed in beyond the scale's tolerance. Check the masses of the pour, the gross, the nets and the returns.";
    ResidualTooLarge "residual-too-large" Conflict "The heat does not balance"
        "What the closing leaves unexplained passes a tenth of the charge. Check the charge, the pours and the weighings of the closing.";
    MetalShort "metal-short" Conflict "An account would hold less than nothing"
        "With this change, later records would draw metal that is not there. The first three are named with the grams. Nothing was written.";
    HeatClosed "heat-closed" Conflict "The heat is closed"
        "Nothing is charged or poured after a closing. Give the time at which it happened, or void the closing.";
    EditionMarkTaken "edition-mark-taken" Conflict "A delivered casting bears that edition mark already"
        "Two works cannot bear one mark of an edition.";
    QuoteSettled "quote-settled" Conflict "The quote does not stand open any more"
        "It was accepted or declined, it lapsed, or a later version took its place. Give a new version of it: POST /v1/quotes with revises.";
    StillGood "still-good" Conflict "The casting of this part is still good"
        "Say why another is wanted: reason spare, lost, damaged or refused; or scrap the casting first.";
    Busy "busy" Busy "The book could not be written just now"
        "The disk did not take the record. Nothing was written. Try again; if it goes on, look at free space and the server's log.";
    Internal "internal" Internal "Something failed that should not"
        "It is in the server's log under the request id. Nothing was written.";
}

/// One wrong field.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Fault {
    /// JSON pointer into the body (RFC 6901), or the name of a parameter.
    pub pointer: String,
    /// Stable code.
    pub code: &'static str,
    /// What is wrong and what to do.
    pub message: String,
}

/// A problem: its type, this case in words, the wrong fields, and what else the type promises.
#[derive(Clone, PartialEq, Debug)]
pub struct Problem {
    /// Which type.
    pub kind: ProblemType,
    /// This case, for people.
    pub detail: String,
    /// All wrong fields.
    pub faults: Vec<Fault>,
    /// Further members of the answer, as the type documents.
    pub more: Map<String, Value>,
    /// For the log alone; never leaves the process.
    pub internal: Option<String>,
}

impl Problem {
    /// A problem of that type with a sentence on this case.
    #[must_use]
    pub fn new(kind: ProblemType, detail: impl Into<String>) -> Self {
        Self { kind, detail: detail.into(), faults: Vec::new(), more: Map::new(), internal: None }
    }
    /// What may be said for it to be taken all the same: the codes of `despite`.
    #[must_use]
    pub fn despite(&self) -> Vec<String> {
        if let Some(Value::Array(said)) = self.more.get("despite") {
            return said.iter().filter_map(Value::as_str).map(str::to_owned).collect();
        }
        let code = match self.kind {
            ProblemType::NotYet => "not_on_record",
            ProblemType::AlloyDiffers => "alloy_differs",
            ProblemType::LotShort => "lot_short",
            ProblemType::PatternIsUnique => "pattern_is_unique",
            ProblemType::ClientMetal => "client_metal",
            ProblemType::CrucibleInUse => "crucible_in_use",
            _ => return Vec::new(),
        };
        vec![code.to_owned()]
    }
    /// Wrong fields.
    #[must_use]
    pub fn invalid(faults: Vec<Fault>) -> Self {
        let detail = match faults.as_slice() {
            [one] => one.message.clone(),
            many => format!("{} fields are wrong", many.len()),
        };
        Self { faults, ..Self::new(ProblemType::Invalid, detail) }
    }
    /// One wrong field.
    #[must_use]
    pub fn field(pointer: &str, code: &'static str, message: impl Into<String>) -> Self {
        Self::invalid(vec![Fault { pointer: pointer.to_owned(), code, message: message.into() }])
    }
    /// Our fault: the cause goes to the log, not to the caller.
    #[must_use]
    pub fn internal(cause: impl std::fmt::Display) -> Self {
        Self { internal: Some(cause.to_string()), ..Self::new(ProblemType::Internal, "The request could not be carried out.") }
    }
    /// With one more member in the answer.
    #[must_use]
    pub fn with(mut self, name: &str, value: impl Into<Value>) -> Self {
        self.more.insert(name.to_owned(), value.into());
        self
    }
}

impl std::fmt::Display for Problem {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "{}: {}", self.kind.slug(), self.detail)?;
        for fault in &self.faults {
            write!(f, "; {} {} {}", fault.pointer, fault.code, fault.message)?;
        }
        match &self.internal {
            Some(cause) => write!(f, " [{cause}]"),
            None => Ok(()),
        }
    }
}
impl std::error::Error for Problem {}
