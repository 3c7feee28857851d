// Package postgistest gives tests a PostgreSQL with PostGIS: a server of their
// own, started where PostgreSQL is installed, or the one that the address in
// LOTWRIGHT_TEST_POSTGRES names, whose user must be allowed to make databases.
//
// It is built with the tag postgis, so that tests without it need no database.
package postgistest
