//! The macros that declare bodies and closed lists of words.

/// Declares the body of a request. Fields are required unless their type says
/// otherwise (`Option`, [`Many`], [`Children`], [`Parent`]).
#[macro_export]
macro_rules! body {
    ($(#[$doc:meta])* pub struct $name:ident { $($(#[$fdoc:meta])* $field:ident : $type:ty,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Debug, PartialEq)]
        pub struct $name { $($(#[$fdoc])* pub $field: $type,)* }

        impl $crate::kernel::field::Body for $name {
            fn members() -> &'static [&'static str] {
                const NAMES: &[&str] = &[$($crate::kernel::field::plain_name(stringify!($field)),)*];
                NAMES
            }
            fn child_members() -> Vec<&'static str> {
                let mut out = Vec::new();
                $(if stringify!($type).starts_with("Children") || stringify!($type).starts_with("Inline") { out.push($crate::kernel::field::plain_name(stringify!($field))); })*
                out
            }
            fn read_members(
                object: &serde_json::Map<String, serde_json::Value>,
                at: &str,
                faults: &mut $crate::kernel::field::Faults,
            ) -> Option<Self> {
                $(let $field = <$type as $crate::kernel::field::Field>::read(
                    object.get($crate::kernel::field::plain_name(stringify!($field))),
                    &$crate::kernel::field::member(at, $crate::kernel::field::plain_name(stringify!($field))),
                    faults,
                );)*
                Some(Self { $($field: $field?,)* })
            }
            fn write_members(&self, into: &mut serde_json::Map<String, serde_json::Value>) {
                $(if let Some(value) = $crate::kernel::field::Field::write(&self.$field) {
                    into.insert($crate::kernel::field::plain_name(stringify!($field)).to_owned(), value);
                })*
            }
            fn member_schemas() -> (serde_json::Map<String, serde_json::Value>, Vec<&'static str>) {
                let mut properties = serde_json::Map::new();
                let mut required = Vec::new();
                $(
                    properties.insert(
                        $crate::kernel::field::plain_name(stringify!($field)).to_owned(),
                        <$type as $crate::kernel::field::Field>::schema(),
                    );
                    if <$type as $crate::kernel::field::Field>::REQUIRED {
                        required.push($crate::kernel::field::plain_name(stringify!($field)));
                    }
                )*
                (properties, required)
            }
            fn each_ref(
                &mut self,
                at: &str,
                see: &mut dyn FnMut(&mut $crate::kernel::field::Slot, &str),
            ) {
                $($crate::kernel::field::Field::refs(
                    &mut self.$field,
                    &$crate::kernel::field::member(at, $crate::kernel::field::plain_name(stringify!($field))),
                    see,
                );)*
            }
        }
    };
}

/// Declares a closed list of words.
#[macro_export]
macro_rules! words {
    ($(#[$doc:meta])* pub enum $name:ident { $($(#[$vdoc:meta])* $variant:ident = $text:literal,)* }) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, PartialOrd, Ord)]
        pub enum $name { $($(#[$vdoc])* $variant,)* }

        impl $name {
            /// All of them.
            pub const ALL: &'static [Self] = &[$(Self::$variant,)*];
            /// As written in the API and the store.
            #[must_use]
            pub const fn name(self) -> &'static str {
                match self { $(Self::$variant => $text,)* }
            }
            /// The inverse of `name`.
            #[must_use]
            pub fn parse(text: &str) -> Option<Self> {
                Self::ALL.iter().copied().find(|w| w.name() == text)
            }
        }

        impl $crate::kernel::field::Field for $name {
            fn read(
                value: Option<&serde_json::Value>,
                at: &str,
                faults: &mut $crate::kernel::field::Faults,
            ) -> Option<Self> {
                match value {
                    None | Some(serde_json::Value::Null) => {
                        faults.none(at, "required", concat!("Give one of:" $(, " ", $text)*, "."))
                    }
                    Some(serde_json::Value::String(text)) if Self::parse(text).is_some() => Self::parse(text),
                    Some(_) => faults.none(at, "not-in-list", concat!("Give one of:" $(, " ", $text)*, ".")),
                }
            }
            fn write(&self) -> Option<serde_json::Value> {
                Some(self.name().into())
            }
            fn schema() -> serde_json::Value {
                serde_json::json!({"type": "string", "enum": [$($text,)*]})
            }
        }
    };
}
