//! Names for a shop that does not exist, all made up for it.

/// People and firms that commission work.
pub const CLIENTS: &[&str] = &[
    "Tamsin Orrell",
    "Studio Bellwether",
    "Ivo Marchpane",
    "Harrowgate Garden Trust",
    "Petra Lindqvall",
    "The Gullfoot Gallery",
    "Anselm Rook",
    "Municipality of Nether Staithe",
    "Coralie Vint",
    "Wren & Saltmarsh Interiors",
    "Bram Oakhanger",
    "Lucasta Fenn",
    "Saint Orlan's Hospice",
    "Dov Hallam",
];

/// Pieces that fill a commission: name, wax in g, thinnest section in mm, kind.
pub const WORKS: &[(&str, i64, i64, &str)] = &[
    ("Otter turning", 310, 5, "mould"),
    ("Seed head, large", 640, 4, "mould"),
    ("Seed head, small", 120, 3, "mould"),
    ("Walking figure", 540, 6, "mould"),
    ("Reclining figure", 820, 7, "mould"),
    ("Portrait head, Iris", 1150, 6, "mould"),
    ("Portrait head, old sailor", 1210, 6, "mould"),
    ("Hare with raised ear", 270, 5, "mould"),
    ("Hand holding a cord", 350, 8, "mould"),
    ("Three plums", 230, 9, "mould"),
    ("Kelp relief", 470, 4, "mould"),
    ("Tern in wind", 190, 3, "mould"),
    ("Knot no. 4", 410, 12, "file"),
    ("Knot no. 7", 760, 12, "file"),
    ("Door pull, wave", 140, 10, "file"),
    ("Door pull, leaf", 110, 8, "file"),
    ("Lettered plaque", 590, 6, "file"),
    ("Lattice sphere", 330, 4, "file"),
    ("Bracket, garden gate", 260, 14, "file"),
    ("Bell, hand size", 220, 5, "mould"),
    ("Weather vane cockerel", 690, 5, "file"),
    ("Medal, first frost", 70, 6, "mould"),
    ("Torso, kneeling", 1480, 7, "mould"),
    ("Owl asleep", 380, 9, "mould"),
    ("Boat finial", 210, 11, "file"),
    ("Snail on a stone", 160, 10, "mould"),
];

/// Forms that there is only one of.
pub const UNIQUE: &[(&str, i64, i64, &str)] = &[
    ("Thistle, burnt out", 60, 3, "plant"),
    ("Oak gall branch", 90, 3, "plant"),
    ("Straw bird", 80, 3, "plant"),
    ("Direct wax: the listener", 720, 6, "wax_micro"),
    ("Direct wax: two dogs", 560, 5, "wax_micro"),
    ("Direct wax: folded cloth", 430, 4, "wax_micro"),
    ("Direct wax: rider", 680, 5, "wax_micro"),
    ("Direct wax: the well", 390, 8, "wax_micro"),
];

/// What commissions are called.
pub const TITLES: &[&str] = &[
    "for the autumn show",
    "second batch",
    "for the garden",
    "to the spring fair",
    "trial and edition",
    "a gift",
    "for the new building",
];

/// Makers of class pours.
pub const MAKERS: &[&str] = &[
    "Aled P.",
    "Bettany R.",
    "Corin W.",
    "Delphine A.",
    "Edrich M.",
    "Fallon T.",
    "Gwenda S.",
    "Hollis B.",
    "Ines K.",
    "Joss L.",
    "Keziah N.",
    "Lorcan D.",
    "Mab F.",
    "Niall V.",
];

/// Where castings fail or carry marks: code, where, from the trade's own list.
pub const FINDINGS: &[(&str, &str)] = &[
    ("A111", "along the seam"),
    ("B111", "back, low"),
    ("B112", "under the rim"),
    ("D121", "front"),
    ("D141", "at the heaviest section"),
    ("D142", "top"),
    ("D231", "side"),
    ("C111", "at the gate"),
];

/// What is written on deliveries.
pub const CARRIERS: &[&str] = &["fetched", "Pell Brothers van", "own van", "Northline Freight"];

/// Who does bench work; the two first type too.
pub const HANDS: &[&str] = &["Odo Fennimore", "Isa Quill", "Maren Tollick", "Jory Penhale"];
