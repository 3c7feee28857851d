package project_test

import (
	"math"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/importer"
	"lotwright/importer/project"
)

const (
	nad83 = `GEOGCS["NAD83",DATUM["North_American_Datum_1983",SPHEROID["GRS 1980",6378137,298.257222101]],PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]`
	// As written by GDAL 3.6.2 (gdalsrsinfo -o wkt1 and -o wkt_esri), cut by its authorities.
	texasCentral     = `PROJCS["NAD83 / Texas Central (ftUS)",` + nad83 + `,PROJECTION["Lambert_Conformal_Conic_2SP"],PARAMETER["latitude_of_origin",29.6666666666667],PARAMETER["central_meridian",-100.333333333333],PARAMETER["standard_parallel_1",31.8833333333333],PARAMETER["standard_parallel_2",30.1166666666667],PARAMETER["false_easting",2296583.33333333],PARAMETER["false_northing",9842500],UNIT["US survey foot",0.304800609601219],AXIS["Easting",EAST],AXIS["Northing",NORTH]]`
	texasCentralEsri = `PROJCS["NAD_1983_StatePlane_Texas_Central_FIPS_4203_Feet",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Lambert_Conformal_Conic"],PARAMETER["False_Easting",2296583.33333333],PARAMETER["False_Northing",9842500.0],PARAMETER["Central_Meridian",-100.333333333333],PARAMETER["Standard_Parallel_1",31.8833333333333],PARAMETER["Standard_Parallel_2",30.1166666666667],PARAMETER["Latitude_Of_Origin",29.6666666666667],UNIT["Foot_US",0.304800609601219]]`
	georgiaWestEsri  = `PROJCS["NAD_1983_StatePlane_Georgia_West_FIPS_1002_Feet",GEOGCS["GCS_North_American_1983",DATUM["D_North_American_1983",SPHEROID["GRS_1980",6378137.0,298.257222101]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Transverse_Mercator"],PARAMETER["False_Easting",2296583.33333333],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",-84.1666666666667],PARAMETER["Scale_Factor",0.9999],PARAMETER["Latitude_Of_Origin",30.0],UNIT["Foot_US",0.304800609601219]]`
	oneParallel      = `PROJCS["one parallel",` + nad83 + `,PROJECTION["Lambert_Conformal_Conic_1SP"],PARAMETER["latitude_of_origin",18],PARAMETER["central_meridian",-77],PARAMETER["scale_factor",0.9999],PARAMETER["false_easting",250000],PARAMETER["false_northing",150000],UNIT["metre",1]]`
	webMercatorEsri  = `PROJCS["WGS_1984_Web_Mercator_Auxiliary_Sphere",GEOGCS["GCS_WGS_1984",DATUM["D_WGS_1984",SPHEROID["WGS_1984",6378137.0,298.257223563]],PRIMEM["Greenwich",0.0],UNIT["Degree",0.0174532925199433]],PROJECTION["Mercator_Auxiliary_Sphere"],PARAMETER["False_Easting",0.0],PARAMETER["False_Northing",0.0],PARAMETER["Central_Meridian",0.0],PARAMETER["Standard_Parallel_1",0.0],PARAMETER["Auxiliary_Sphere_Type",0.0],UNIT["Meter",1.0]]`
)

// Systems of survey offices, against PROJ 9.1.1: the command is above each answer.
func TestParseWKT(t *testing.T) {
	for _, c := range []struct {
		wkt      string
		at, want importer.Position
	}{
		// echo 3100000 10100000 | proj -I -f %.10f +proj=lcc +lat_0=29.6666666666667 +lon_0=-100.333333333333 +lat_1=31.8833333333333 +lat_2=30.1166666666667 +x_0=700000 +y_0=3000000 +ellps=GRS80 +units=us-ft
		{texasCentral, importer.Position{3_100_000, 10_100_000}, importer.Position{-97.7860074669, 30.3493704147}},
		{texasCentralEsri, importer.Position{3_100_000, 10_100_000}, importer.Position{-97.7860074669, 30.3493704147}},
		// echo 2230000 1370000 | proj -I -f %.10f +proj=tmerc +lat_0=30 +lon_0=-84.1666666666667 +k=0.9999 +x_0=700000 +y_0=0 +ellps=GRS80 +units=us-ft
		{georgiaWestEsri, importer.Position{2_230_000, 1_370_000}, importer.Position{-84.3857647235, 33.7660390199}},
		// echo 255966.58 142493.51 | proj -I -f %.10f +proj=lcc +lat_1=18 +lat_0=18 +lon_0=-77 +k_0=0.9999 +x_0=250000 +y_0=150000 +ellps=GRS80
		{oneParallel, importer.Position{255_966.58, 142_493.51}, importer.Position{-76.9436769083, 17.9321634878}},
		// echo -10900000 3500000 | proj -I -f %.10f +proj=webmerc +datum=WGS84
		{webMercatorEsri, importer.Position{-10_900_000, 3_500_000}, importer.Position{-97.9163659690, 29.9723796587}},
	} {
		system, err := project.ParseWKT(c.wkt)
		require.NoError(t, err, c.wkt)
		got := system.LonLat(c.at)
		assert.InDelta(t, c.want[0], got[0], 1e-9, system.Name)
		assert.InDelta(t, c.want[1], got[1], 1e-9, system.Name)
	}
}

func TestParseWKTDegrees(t *testing.T) {
	for _, wkt := range []string{
		nad83, "COMPD_CS[\"both\"," + nad83 + `,VERT_CS["height",VERT_DATUM["x",2005],UNIT["metre",1]]]`,
		`GEOGCS("GCS_WGS_1984",DATUM("D_WGS_1984",SPHEROID("WGS_1984",6378137.0,298.257223563)),PRIMEM("Greenwich",0.0),UNIT("Degree",0.0174532925199433))`,
	} {
		system, err := project.ParseWKT(wkt)
		require.NoError(t, err, wkt)
		assert.True(t, system.Degrees())
	}
	system, err := project.ParseWKT(`PROJCS["by its code",AUTHORITY["EPSG","32615"]]`)
	require.NoError(t, err)
	assert.Equal(t, 32615, system.Code)
}

func TestParseWKTRefuses(t *testing.T) {
	for wkt, reason := range map[string]string{
		"": "byte 0", "undefined": "well-known text", `GEOGCS["x"`: "well-known text", `GEOGCS["x`: "well-known text",
		`LOCAL_CS["x",UNIT["metre",1]]`: "LOCAL_CS", nad83 + "]": "well-known text",
		strings.Repeat("A[", 100): "too deep", strings.Repeat(" ", 1<<17): "longer",
		strings.Replace(nad83, "1983", "1927", 1):                                  "datum",
		strings.Replace(nad83, "6378137", "6378206.4", 1):                          "spheroid",
		strings.Replace(nad83, `"Greenwich",0`, `"Paris",2.3`, 1):                  "meridian",
		strings.Replace(nad83, "0.0174532925199433", "0.01570796326794897", 1):     "degrees",
		strings.Replace(texasCentral, "Lambert_Conformal_Conic_2SP", "Krovak", 1):  "Krovak",
		strings.Replace(texasCentral, "31.8833333333333", "-30.1166666666667", 1):  "cone",
		strings.Replace(texasCentral, `foot",0.304800609601219`, `foot",-1`, 1):    "length",
		strings.Replace(texasCentral, `North_American_Datum_1983"`, `Potsdam"`, 1): "Potsdam",
		`PROJCS["x",PROJECTION["Transverse_Mercator"]]`:                            "geographic",
	} {
		_, err := project.ParseWKT(wkt)
		assert.ErrorContains(t, err, reason, "%.60s", wkt)
	}
}

// Any text gives a system or a reason; a system gives numbers, or NaN, for any
// place.
func FuzzParseWKT(f *testing.F) {
	for _, wkt := range []string{nad83, texasCentral, texasCentralEsri, georgiaWestEsri, oneParallel, webMercatorEsri} {
		f.Add(wkt)
	}
	f.Fuzz(func(t *testing.T, wkt string) {
		system, err := project.ParseWKT(wkt)
		if err != nil {
			require.NotEmpty(t, err.Error())
			return
		}
		if !system.Degrees() {
			p := system.LonLat(importer.Position{1000, 1000})
			require.False(t, math.Abs(p[1]) > 90.001, "latitude %g", p[1])
		}
	})
}
