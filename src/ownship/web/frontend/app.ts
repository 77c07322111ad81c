// Every page: what htmx makes livelier. A form or link marked hx-* answers without a page load; without this script the same
// address answers as a page.
import "htmx.org";
