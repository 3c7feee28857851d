package schedule

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// daysInMonth are those of a year without 29 February.
var daysInMonth = [monthsPerYear]int{31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31}

// midMonth is the day that FAO-56 lets stand for a month.
const midMonth = 15

// MidMonthDay is the day of the year of the 15th of a month, 1 to 12.
func MidMonthDay(month int) int {
	day := midMonth
	for _, d := range daysInMonth[:month-1] {
		day += d
	}
	return day
}

// Season is a run of months, both ends included, over the turn of the year if
// need be. The zero value is none.
type Season struct {
	From time.Month
	To   time.Month
}

// Given says whether there is a season.
func (s Season) Given() bool { return s != (Season{}) }

// Has says whether m is in the season.
func (s Season) Has(m time.Month) bool {
	if s.From <= s.To {
		return m >= s.From && m <= s.To
	}
	return m >= s.From || m <= s.To
}

// String writes the season as "April to October".
func (s Season) String() string { return fmt.Sprintf("%s to %s", s.From, s.To) }

func (s Season) validate() error {
	isMonth := func(m time.Month) bool { return m >= time.January && m <= time.December }
	if s.Given() && !(isMonth(s.From) && isMonth(s.To)) {
		return fmt.Errorf("season from month %d to month %d; give both, 1 to 12, or neither", s.From, s.To)
	}
	return nil
}

// ParseSeason reads months as numbers or names of three letters or more:
// "4-10", "apr-october". Empty is none.
func ParseSeason(text string) (Season, error) {
	if strings.TrimSpace(text) == "" {
		return Season{}, nil
	}
	from, to, found := strings.Cut(text, "-")
	if !found {
		return Season{}, fmt.Errorf("%q is not a season such as 4-10 or apr-oct", text)
	}
	var s Season
	var ok, okay bool
	if s.From, ok = monthNamed(from); ok {
		s.To, okay = monthNamed(to)
	}
	if !okay {
		return Season{}, fmt.Errorf("%q is not a season such as 4-10 or apr-oct", text)
	}
	return s, nil
}

func monthNamed(text string) (time.Month, bool) {
	text = strings.ToLower(strings.TrimSpace(text))
	for m := time.January; m <= time.December; m++ {
		if text == strconv.Itoa(int(m)) || len(text) >= 3 && strings.HasPrefix(strings.ToLower(m.String()), text) {
			return m, true
		}
	}
	return 0, false
}
