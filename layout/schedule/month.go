package schedule

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
