package cli

import (
	"reflect"
	"strings"
	"testing"

	"github.com/alecthomas/kong"
	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"

	"lotwright/server/rpc"
)

// TestEveryLimitIsASetting: each limit of the service has a flag that sets it and
// no other, and the help shows its default.
func TestEveryLimitIsASetting(t *testing.T) {
	limits, flags := reflect.TypeFor[rpc.Limits](), reflect.TypeFor[limitFlags]()
	defaults := reflect.ValueOf(rpc.Limits{}.OrDefaults())
	require.Equal(t, limits.NumField(), flags.NumField())
	for i := range limits.NumField() {
		name := limits.Field(i).Name
		flag, found := flags.FieldByName(name)
		require.True(t, found, "%s has no flag", name)
		var parsed struct {
			limitFlags `embed:"" prefix:"limit-"`
		}
		parser, err := kong.New(&parsed)
		require.NoError(t, err)
		option := "--limit-" + kebab(name)
		_, err = parser.Parse([]string{option + "=" + flag.Tag.Get("placeholder")})
		require.NoError(t, err, name)
		got := reflect.ValueOf(parsed.limits())
		for k := range limits.NumField() {
			if k == i {
				assert.Equal(t, defaults.Field(k).Interface(), got.Field(k).Interface(), name)
			} else {
				assert.True(t, got.Field(k).IsZero(), "%s sets %s", option, limits.Field(k).Name)
			}
		}
	}
}

// kebab is a field as a flag.
func kebab(name string) string {
	if name == "JSON" {
		return "json"
	}
	var b strings.Builder
	for i, r := range name {
		if i > 0 && r < 'a' {
			b.WriteByte('-')
		}
		b.WriteString(strings.ToLower(string(r)))
	}
	return b.String()
}

func TestByteSize(t *testing.T) {
	for text, want := range map[string]byteSize{"1B": 1, "16KiB": 16 << 10, "64MiB": 64 << 20, "2GiB": 2 << 30, "7TiB": 7 << 40} {
		var got byteSize
		require.NoError(t, got.UnmarshalText([]byte(text)), text)
		assert.Equal(t, want, got)
	}
	for _, text := range []string{"", "1", "B", "-1B", "0B", "1.5MiB", "1 MiB", "1MB", "1iB", "1BB", "9223372036854775807KiB", "99999999999999999999B", "1mib"} {
		assert.Error(t, new(byteSize).UnmarshalText([]byte(text)), text)
	}
}
