//! Words of a closed list, and the codes that stand for them in rows and JSON.

/// A word of a closed list with a stable code.
pub trait Coded: Copy + Eq + 'static {
    /// What the list is called, for error texts and schemas.
    const NAME: &'static str;

    /// Every word of the list, in its order.
    fn all() -> &'static [Self];

    /// Its code: lower snake case, or the unit's own.
    fn code(self) -> &'static str;

    /// The word with this code, written exactly so.
    fn from_code(code: &str) -> Option<Self> {
        Self::all().iter().copied().find(|word| word.code() == code)
    }
}

/// Declares an enum of words with their codes.
macro_rules! coded {
    ($(#[$meta:meta])* $name:ident { $($(#[$doc:meta])* $word:ident = $code:literal),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub enum $name {
            $($(#[$doc])* $word),+
        }

        impl $crate::code::Coded for $name {
            const NAME: &'static str = stringify!($name);

            fn all() -> &'static [Self] {
                &[$($name::$word),+]
            }

            fn code(self) -> &'static str {
                match self {
                    $($name::$word => $code),+
                }
            }
        }
    };
}
pub(crate) use coded;
