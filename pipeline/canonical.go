package pipeline

import (
	"fmt"
	"math"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// canonicalSettings returns the sorted lines "path value" of a settings struct,
// so that equal settings give equal lines and unequal ones never do: texts are
// quoted, floats stand in their shortest form that reads back the same, an empty
// list or a nil pointer is the word none. Fields are named by their hcl tag, their
// json tag, or their own name in small letters. NaN, infinities, −0 and types
// without a canonical form are refused with the path of the field.
func canonicalSettings(v any) ([]string, error) {
	if v == nil {
		return nil, nil
	}
	r := reflect.ValueOf(v)
	for r.Kind() == reflect.Pointer {
		if r.IsNil() {
			return nil, nil
		}
		r = r.Elem()
	}
	if r.Kind() != reflect.Struct {
		return nil, fmt.Errorf("settings of a part must be a struct, not %s", r.Type())
	}
	var lines []string
	if err := canonicalValue(r, "", &lines); err != nil {
		return nil, err
	}
	slices.Sort(lines)
	return lines, nil
}

func canonicalValue(v reflect.Value, path string, lines *[]string) error {
	put := func(s string) error {
		*lines = append(*lines, path+" "+s)
		return nil
	}
	switch v.Kind() {
	case reflect.Struct:
		return canonicalStruct(v, path, lines)
	case reflect.Pointer:
		if v.IsNil() {
			return put("none")
		}
		return canonicalValue(v.Elem(), path, lines)
	case reflect.Slice, reflect.Array:
		if v.Len() == 0 {
			return put("none")
		}
		for i := range v.Len() {
			if err := canonicalValue(v.Index(i), path+"."+strconv.Itoa(i), lines); err != nil {
				return err
			}
		}
		return nil
	case reflect.Map:
		return canonicalMap(v, path, lines)
	case reflect.String:
		return put(strconv.Quote(v.String()))
	case reflect.Bool:
		return put(strconv.FormatBool(v.Bool()))
	case reflect.Int, reflect.Int8, reflect.Int16, reflect.Int32, reflect.Int64:
		return put(strconv.FormatInt(v.Int(), 10))
	case reflect.Uint, reflect.Uint8, reflect.Uint16, reflect.Uint32, reflect.Uint64:
		return put(strconv.FormatUint(v.Uint(), 10))
	case reflect.Float32, reflect.Float64:
		f := v.Float()
		if math.IsNaN(f) || math.IsInf(f, 0) || f == 0 && math.Signbit(f) {
			return fmt.Errorf("setting %s is %v, which has no canonical form", path, f)
		}
		return put(strconv.FormatFloat(f, 'g', -1, v.Type().Bits()))
	}
	return fmt.Errorf("setting %s: a %s has no canonical form", path, v.Type())
}

func canonicalStruct(v reflect.Value, path string, lines *[]string) error {
	t := v.Type()
	seen := map[string]bool{}
	for i := range t.NumField() {
		f := t.Field(i)
		if !f.IsExported() {
			return fmt.Errorf("settings %s: the field %s is not exported, so it could vary a result unseen", t, f.Name)
		}
		name := canonicalName(f)
		if seen[name] {
			return fmt.Errorf("settings %s: two fields are called %s", t, name)
		}
		seen[name] = true
		if path != "" {
			name = path + "." + name
		}
		if err := canonicalValue(v.Field(i), name, lines); err != nil {
			return err
		}
	}
	return nil
}

// canonicalMap writes keys quoted, so that none can look like a deeper path.
func canonicalMap(v reflect.Value, path string, lines *[]string) error {
	if v.Type().Key().Kind() != reflect.String {
		return fmt.Errorf("setting %s: only maps by text have a canonical form", path)
	}
	if v.Len() == 0 {
		*lines = append(*lines, path+" none")
		return nil
	}
	for it := v.MapRange(); it.Next(); { // the lines are sorted in the end
		if err := canonicalValue(it.Value(), path+"."+keyName(it.Key().String()), lines); err != nil {
			return err
		}
	}
	return nil
}

// keyName quotes a map's key without blanks, which end a path.
func keyName(s string) string { return strings.ReplaceAll(strconv.QuoteToASCII(s), " ", `\x20`) }

func canonicalName(f reflect.StructField) string {
	for _, tag := range []string{"hcl", "json"} {
		if name, _, _ := strings.Cut(f.Tag.Get(tag), ","); name != "" && name != "-" {
			return name
		}
	}
	var b strings.Builder
	runes := []rune(f.Name)
	for i, r := range runes {
		if unicode.IsUpper(r) && i > 0 && (unicode.IsLower(runes[i-1]) || i+1 < len(runes) && unicode.IsLower(runes[i+1])) {
			b.WriteByte('_')
		}
		b.WriteRune(unicode.ToLower(r))
	}
	return b.String()
}
