// Package rules holds published rules for lawn sprinklers and checks a design
// against them.
//
// # The rules
//
// rules.json is the list: each rule with an id of ours, what it asks for in our
// own words, where that is published, and in which jurisdiction; one without a
// jurisdiction is general. General rules are on unless switched off, those of a
// jurisdiction are off unless switched on by its tag. Tags nest: us-tx-fort-worth
// switches on the rules of us-tx too. A user's own rules in the same form are
// read by [Parse].
//
// # What is checked
//
// A rule names the kind of check, and its limit with a unit. What can be seen
// from the design and the lot is checked, and each finding gives the rule, the
// place, the value measured, the value permitted and the source. What cannot be
// seen is listed to be checked on site, with the reason; nothing is passed over
// in silence. A rule that holds is not a legal opinion, and none of them chooses
// a backflow assembly: a kind is checked only if the user says that it is there.
//
// # Measures
//
// The nearest other fixed-arc head gives a head's spacing. Cover is the depth of
// the trench less the outside of the lot's widest pipe.
package rules
