//! Who is writing, and what they may do.

/// What a token may do. One list: [`Role::may`].
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
pub enum Role {
    /// Everything.
    Owner,
    /// Logs stages, corrects and voids its own for a day.
    Hand,
    /// Reads.
    Reader,
}

/// What a call needs.
#[derive(Clone, Copy, PartialEq, Eq, Debug, Hash)]
pub enum Right {
    /// Anyone, without a token.
    Open,
    /// Any token.
    Read,
    /// Logs what happened on the floor.
    Log,
    /// Corrects or voids: the owner any record, a hand its own for a day.
    Correct,
    /// Settings, rates, metal out of stock, cascade, import, export.
    Own,
}

impl Role {
    /// All roles.
    pub const ALL: [Self; 3] = [Self::Owner, Self::Hand, Self::Reader];
    /// As written in the API and on the command line.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Owner => "owner",
            Self::Hand => "hand",
            Self::Reader => "reader",
        }
    }
    /// The inverse of [`Role::name`].
    #[must_use]
    pub fn parse(text: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|r| r.name() == text)
    }
    /// The one list of rights.
    #[must_use]
    pub const fn may(self, right: Right) -> bool {
        match (self, right) {
            (_, Right::Open | Right::Read) | (Self::Owner, _) => true,
            (Self::Hand, Right::Log | Right::Correct) => true,
            (Self::Hand, Right::Own) | (Self::Reader, _) => false,
        }
    }
}

/// Whoever holds the token of a request.
#[derive(Clone, PartialEq, Eq, Debug)]
pub struct Actor {
    /// The token's name: written as `by` on what it records.
    pub name: String,
    /// What it may do.
    pub role: Role,
    /// Whether it is shown money.
    pub sees_money: bool,
}

impl Actor {
    /// An actor of that name and role.
    #[must_use]
    pub fn new(name: impl Into<String>, role: Role) -> Self {
        Self { name: name.into(), role, sees_money: matches!(role, Role::Owner) }
    }
}
