package importer

// Limits bound what is read. A field of 0 means its default. They are choices
// of this program, far above what a survey of a residential lot holds and far
// below what would exhaust a small machine.
type Limits struct {
	Body   int64 // bytes of text after decompression, or of a part of an archive; default 256 MiB
	Store  int64 // bytes of an archive or database as a whole; default 1 GiB
	Blob   int   // bytes of a value in a database; default 32 MiB
	Tables int   // tables of a database or parts of an archive; default 1,000

	Depth      int // nesting of JSON arrays and objects; default 64
	Number     int // bytes of a JSON number; default 64
	Key        int // bytes of a member name; default 256
	String     int // bytes of a string; default 64 KiB
	Properties int // members of an object that is read; default 256

	RingVertices int // positions of a ring or line; default 20,000
	LotVertices  int // positions of a lot; default 50,000
	Rings        int // rings of a polygon; default 500
	LotFeatures  int // features of a lot; default 500
	LotID        int // bytes of a lot id; default 128

	LeastArea float64 // of a parcel, m²; default 1
	MostArea  float64 // of a parcel, m²; default 100,000 (10 ha)

	// Corners is the number of corners a parcel may have, and all else on the
	// lot together, once simplified by a centimetre; default 2,000. The work of
	// a design grows faster than with the square of this number.
	Corners int
}

// OrDefaults returns l with every zero field set to its default.
func (l Limits) OrDefaults() Limits {
	setDefault(&l.Body, 256<<20)
	setDefault(&l.Store, 1<<30)
	setDefault(&l.Blob, 32<<20)
	setDefault(&l.Tables, 1_000)
	setDefault(&l.Depth, 64)
	setDefault(&l.Number, 64)
	setDefault(&l.Key, 256)
	setDefault(&l.String, 64<<10)
	setDefault(&l.Properties, 256)
	setDefault(&l.RingVertices, 20_000)
	setDefault(&l.LotVertices, 50_000)
	setDefault(&l.Rings, 500)
	setDefault(&l.LotFeatures, 500)
	setDefault(&l.LotID, 128)
	setDefault(&l.LeastArea, 1)
	setDefault(&l.MostArea, 100_000)
	setDefault(&l.Corners, 2_000)
	return l
}

func setDefault[T int | int64 | float64](v *T, d T) {
	if *v == 0 {
		*v = d
	}
}
