package sheet

// Sheets makes the crew's sheets alone: the images of a whole set take most of the
// time, and most tests read only words.
func Sheets(j Job) ([]byte, error) {
	b := newBook(j)
	return PDF(b.name+": sheets", b.date(), b.sheets())
}
