package schedule

import (
	"cmp"
	"fmt"
	"math/bits"
	"slices"
	"strings"
	"sync"
	"time"
)

// Weekdays is a set of days of the week, bit 0 for Sunday.
type Weekdays uint8

// EveryDay holds all seven.
const EveryDay Weekdays = 1<<daysPerWeek - 1

// On returns the set of the given days.
func On(days ...time.Weekday) Weekdays {
	var w Weekdays
	for _, d := range days {
		w |= 1 << d
	}
	return w
}

// Has says whether d is in w.
func (w Weekdays) Has(d time.Weekday) bool { return w>>d&1 == 1 }

// Count is the number of days in w.
func (w Weekdays) Count() int { return bits.OnesCount8(uint8(w & EveryDay)) }

// List returns the days from Sunday on.
func (w Weekdays) List() []time.Weekday {
	var days []time.Weekday
	for d := time.Sunday; d <= time.Saturday; d++ {
		if w.Has(d) {
			days = append(days, d)
		}
	}
	return days
}

// String writes the days as "Mon Thu".
func (w Weekdays) String() string {
	var names []string
	for _, d := range w.List() {
		names = append(names, d.String()[:3])
	}
	return strings.Join(names, " ")
}

// ParseWeekdays reads names of days, whole or of three letters, separated by
// commas or blanks: "mon,wed,Friday". Empty is every day.
func ParseWeekdays(text string) (Weekdays, error) {
	var w Weekdays
	words := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool { return r == ',' || r == ' ' })
	for _, word := range words {
		d, ok := weekdayNamed(word)
		if !ok {
			return 0, fmt.Errorf("%q is not a day of the week; write mon,wed,fri", word)
		}
		w |= On(d)
	}
	if w == 0 {
		return EveryDay, nil
	}
	return w, nil
}

func weekdayNamed(word string) (time.Weekday, bool) {
	for _, d := range EveryDay.List() {
		name := strings.ToLower(d.String())
		if word == name || word == name[:3] {
			return d, true
		}
	}
	return 0, false
}

// largestDeficit is how many days' use the soil lacks at most, just before a
// watering, when each watering of the week gives the same and the week's
// waterings together meet the week's use, never more than the soil lacks.
func (w Weekdays) largestDeficit() float64 {
	days := w.List()
	each := float64(daysPerWeek) / float64(len(days))
	lacking, most, least := 0.0, 0.0, 0.0
	for i := range days {
		if i > 0 {
			lacking += float64(days[i]-days[i-1]) - each
		}
		most = max(most, lacking)   // before watering, counted from the first day's
		least = min(least, lacking) // a watering must not find less than it gives
	}
	return most - least + each
}

// pattern is a set of days and how dry it lets the soil become.
type pattern struct {
	days    Weekdays
	deficit float64 // in days' use
}

// patternsWithin lists the subsets of the allowed days: fewest days first, then
// the most even, then by day.
func patternsWithin(allowed Weekdays) []pattern {
	var within []pattern
	for _, p := range allPatterns() {
		if p.days&^allowed == 0 {
			within = append(within, p)
		}
	}
	return within
}

// allPatterns are the 127 sets of days, in order.
var allPatterns = sync.OnceValue(func() []pattern {
	var all []pattern
	for w := Weekdays(1); w <= EveryDay; w++ {
		all = append(all, pattern{w, w.largestDeficit()})
	}
	slices.SortFunc(all, func(a, b pattern) int {
		return cmp.Or(cmp.Compare(a.days.Count(), b.days.Count()), cmp.Compare(a.deficit, b.deficit), cmp.Compare(a.days, b.days))
	})
	return all
})

// supersets lists the sets that hold all of w and more, fewest days first.
func (w Weekdays) supersets() []Weekdays {
	var all []Weekdays
	for s := Weekdays(1); s <= EveryDay; s++ {
		if w&^s == 0 && s != w {
			all = append(all, s)
		}
	}
	slices.SortFunc(all, func(a, b Weekdays) int {
		return cmp.Or(cmp.Compare(a.Count(), b.Count()), cmp.Compare(a, b))
	})
	return all
}

// Window is the time of day in which water may run, in minutes from midnight.
// A window that ends at or before its beginning runs past midnight and belongs
// to the day on which it begins. The zero value is [DefaultWindow].
type Window struct {
	FromMinute int
	ToMinute   int
}

// DefaultWindow is the night, when wind and evaporation are least: common practice.
var DefaultWindow = Window{FromMinute: 22 * minutesPerHour, ToMinute: 6 * minutesPerHour}

// ParseWindow reads "22:00-06:00"; empty is [DefaultWindow].
func ParseWindow(text string) (Window, error) {
	if strings.TrimSpace(text) == "" {
		return DefaultWindow, nil
	}
	from, to, found := strings.Cut(text, "-")
	if !found {
		return Window{}, fmt.Errorf("%q is not a window such as 22:00-06:00", text)
	}
	var w Window
	for _, end := range []struct {
		text   string
		minute *int
	}{{from, &w.FromMinute}, {to, &w.ToMinute}} {
		t, err := time.Parse("15:04", strings.TrimSpace(end.text))
		if err != nil {
			return Window{}, fmt.Errorf("%q in the window %q is not a time such as 22:00", end.text, text)
		}
		*end.minute = t.Hour()*minutesPerHour + t.Minute()
	}
	if w == (Window{}) {
		w.ToMinute = minutesPerDay // the zero value means another window
	}
	return w, nil
}

// Minutes is the length of the window; equal ends, or 0 to 1440, are a whole day.
func (w Window) Minutes() int {
	if w.ToMinute > w.FromMinute {
		return w.ToMinute - w.FromMinute
	}
	return w.ToMinute - w.FromMinute + minutesPerDay
}

// String writes the window as "22:00-06:00".
func (w Window) String() string { return clock(w.FromMinute) + "-" + clock(w.ToMinute) }

// clock writes a minute as a time of day; past midnight it starts over.
func clock(minute int) string {
	minute %= minutesPerDay
	return fmt.Sprintf("%02d:%02d", minute/minutesPerHour, minute%minutesPerHour)
}

func (w Window) validate() error {
	if w.FromMinute < 0 || w.FromMinute >= minutesPerDay || w.ToMinute < 0 || w.ToMinute > minutesPerDay {
		return fmt.Errorf("window from minute %d to %d: both must lie in a day of %d minutes", w.FromMinute, w.ToMinute, minutesPerDay)
	}
	return nil
}
