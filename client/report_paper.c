/* SPDX-License-Identifier: MIT */
/* See report_paper.h. */
#include "client/report_paper.h"
#include "client/report_paper_inside.h"
#include "protocol/file/utf8.h"

#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

const char *const paper_looks[] = {"", "lead", "small", "caution", "strong", "mono", "good", "bad"};

/* Black on white, shapes and words beside every shade; a colour only where it adds. */
static const char style[] =
	":root{color-scheme:light}"
	"*{box-sizing:border-box}"
	"body{margin:0 auto;padding:1rem;max-width:62rem;background:#fff;color:#111;"
	"font:16px/1.5 'DejaVu Sans',Verdana,sans-serif;overflow-wrap:break-word}"
	"h1{font-size:1.7rem;line-height:1.2;margin:.2em 0 .4em}"
	"h2{font-size:1.25rem;line-height:1.25;margin:2em 0 .5em;padding-top:.35em;"
	"border-top:2px solid #111}"
	"h3{font-size:1.05rem;margin:1.4em 0 .3em}"
	"p{margin:.5em 0;max-width:46rem}ul{margin:.4em 0;padding-left:1.3em;max-width:45rem}"
	"li{margin:.2em 0}.marked{list-style:none}.marked span{display:inline-block;width:1.3em;"
	"margin-left:-1.3em}"
	".facts{display:grid;grid-template-columns:repeat(auto-fill,minmax(18rem,1fr));column-gap:2rem;"
	"margin:1em 0;font-size:.9rem;line-height:1.4}"
	".facts div{display:flex;gap:.8em;padding:.3em 0;border-bottom:1px solid #bbb}"
	".facts dt{flex:0 0 8.5em;color:#444}.facts dd{margin:0;flex:1;min-width:0}"
	".good,.bad{border:2px solid #111;padding:.5em .8em;font-size:1.1rem;font-weight:bold;"
	"max-width:none}.bad{border-width:5px}"
	".lead{font-size:1.1rem}.small{font-size:.85rem;color:#333}.strong{font-weight:bold}"
	".caution{border-left:5px solid #111;padding:.35em .8em;background:#f0f0f0}"
	".mono{font-family:'DejaVu Sans Mono',monospace;font-size:.82rem;background:#f4f4f4;"
	"padding:.3em .5em;overflow-wrap:anywhere}"
	"table{border-collapse:collapse;width:100%;margin:.8em 0;font-size:.85rem;line-height:1.35}"
	"caption{text-align:left;font-weight:bold;padding:.3em 0}"
	"th,td{unicode-bidi:plaintext;text-align:left;vertical-align:top;padding:.35em .5em;border-bottom:1px solid #bbb;"
	"font-weight:normal}"
	"thead th{border-bottom:2px solid #111;vertical-align:bottom;font-weight:bold}"
	"tbody th{font-weight:bold}"
	".n{font-variant-numeric:tabular-nums}"
	"td.r,th.r{text-align:right;padding-right:1.1em;font-variant-numeric:tabular-nums}"
	"td .strong{font-weight:bold}"
	"svg{display:block;max-width:100%;height:auto}"
	"figure{display:inline-block;vertical-align:top;max-width:100%;margin:.8em 1.2em .8em 0}"
	"[data-tip]:focus{outline:2px solid #111;outline-offset:2px}"
	"#tip{position:fixed;z-index:2;background:#111;color:#fff;padding:.25em .6em;font-size:.8rem;"
	"max-width:18rem;pointer-events:none;border-radius:3px}"
	"footer{margin-top:3em;border-top:1px solid #111;padding-top:.5em;font-size:.8rem;color:#333}"
	"@media screen and (max-width:760px){body{padding:.7rem}"
	"table,caption,tbody,tr,td,tbody th{display:block;width:100%}"
	"thead{position:absolute;width:1px;height:1px;overflow:hidden;clip-path:inset(50%)}"
	"tr{border-bottom:2px solid #111;padding:.4em 0}"
	"th,td{border:0;padding:.12em 0;text-align:left!important}"
	"td[data-label]:not(:empty)::before{content:attr(data-label) ': ';color:#444;font-size:.8rem}"
	"td:empty{display:none}tbody th{font-size:1.05rem}.facts{display:block}"
	".facts dt{flex-basis:7.5em}}"
	"@media print{@page{margin:14mm 13mm 16mm}body{max-width:none;padding:0;font-size:10pt}"
	"table{font-size:8pt}h2,h3,caption{break-after:avoid}tr,figure,.caution{break-inside:avoid}"
	".sheet{font-size:8.4pt;line-height:1.35}.sheet h1{font-size:15pt;margin:0}"
	".sheet h2{font-size:11pt;margin:.6em 0 .15em;padding-top:.2em}.sheet .lead{font-size:9.5pt}"
	".sheet .good,.sheet .bad{font-size:9.5pt;padding:.3em .6em}"
	".sheet .facts{font-size:7.6pt;margin:.4em 0;grid-template-columns:1fr 1fr}"
	".sheet .facts div{padding:.1em 0}"
	".sheet p,.sheet ul,.sheet table,.sheet figure{margin:.2em 0}.sheet svg{max-width:45%}"
	".sheet table{font-size:7.6pt}.sheet th,.sheet td{padding:.12em .4em}"
	".sheet .mono{font-size:6.8pt;padding:.1em .4em}.sheet li{margin:0}"
	"thead{display:table-header-group}.page{break-before:page}#tip,.screen{display:none}"
	".mono,.caution{background:none;border:1px solid #999}.caution{border-left:5px solid #111}}";

/*
 * What can be pointed at says so at once; without script the browser's own title does.  The
 * marks of a table, or of a picture by itself, are one stop of the Tab key; arrows go from mark to
 * mark, Home and End to the first and last, Escape takes the words off.
 */
static const char script[] =
	"(function(){var d=document,t=d.createElement('div'),last=null;t.id='tip';t.hidden=true;"
	"t.setAttribute('aria-hidden','true');d.body.appendChild(t);"
	"function off(){t.hidden=true}"
	"function say(g,x,y){t.textContent=g.getAttribute('data-tip');t.hidden=false;"
	"t.style.left=Math.max(4,Math.min(x+12,innerWidth-t.offsetWidth-8))+'px';"
	"t.style.top=Math.max(4,y+16+t.offsetHeight>innerHeight?y-t.offsetHeight-16:y+16)+'px'}"
	"function marks(g){var b=g.closest('table')||g.closest('figure')||d.body;"
	"return Array.prototype.slice.call(b.querySelectorAll('[data-tip]'))}"
	"Array.prototype.forEach.call(d.querySelectorAll('[data-tip]'),function(g){"
	"g.setAttribute('tabindex',marks(g)[0]===g?0:-1);g.setAttribute('role','img');"
	"g.setAttribute('aria-label',g.getAttribute('data-tip'));"
	"var s=g.closest('svg');if(s)s.setAttribute('role','group')});"
	"d.addEventListener('pointermove',function(e){var g=e.target.closest&&"
	"e.target.closest('[data-tip]');if(g)say(g,e.clientX,e.clientY);else off()});"
	"d.addEventListener('pointerleave',off);"
	"d.addEventListener('focusin',function(e){var g=e.target;if(!g.hasAttribute('data-tip'))"
	"{off();return}if(last&&marks(last).indexOf(g)>=0)last.setAttribute('tabindex',-1);"
	"g.setAttribute('tabindex',0);last=g;var b=g.getBoundingClientRect();say(g,b.right,b.bottom-12)});"
	"d.addEventListener('focusout',off);"
	"d.addEventListener('keydown',function(e){if(e.key==='Escape'){off();return}"
	"var g=e.target;if(!g.hasAttribute||!g.hasAttribute('data-tip'))return;"
	"var m=marks(g),i=m.indexOf(g),k={ArrowRight:i+1,ArrowDown:i+1,ArrowLeft:i-1,ArrowUp:i-1,"
	"Home:0,End:m.length-1}[e.key];if(k===undefined)return;e.preventDefault();"
	"if(m[k])m[k].focus()})})();";

/* Half a character, at which a text was cut off, is left out: one of them would make the whole document
 * unreadable. */
static void plain(struct lines *out, const char **text)
{
	size_t n = utf8_length(*text, strnlen(*text, 4));
	if (n && (unsigned char)**text >= 0x20 && **text != 0x7f)
		lines_add(out, *text, n);
	*text += n ? n - 1 : 0;
}

void paper_escape(struct lines *out, const char *text)
{
	for (; *text; text++) {
		switch (*text) {
		case '&': lines_puts(out, "&amp;"); break;
		case '<': lines_puts(out, "&lt;"); break;
		case '>': lines_puts(out, "&gt;"); break;
		case '"': lines_puts(out, "&quot;"); break;
		case '\'': lines_puts(out, "&#39;"); break;
		default: plain(out, &text);
		}
	}
}

/* With LF as a line break. */
void paper_html_lines(struct lines *out, const char *text)
{
	while (*text) {
		size_t n = strcspn(text, "\n");
		char *part = strndup(text, n);
		if (!part) {
			out->failed = true;
			return;
		}
		paper_escape(out, part);
		free(part);
		text += n;
		if (*text) {
			lines_puts(out, "<br>");
			text++;
		}
	}
}

/* A field of a line for the pages. */
void paper_field(struct paper *p, const char *text)
{
	lines_add(&p->pages, "\t", 1);
	for (; *text; text++) {
		switch (*text) {
		case '\\': lines_puts(&p->pages, "\\\\"); break;
		case '\t': lines_puts(&p->pages, " "); break;
		case '\n': lines_puts(&p->pages, "\\n"); break;
		default: plain(&p->pages, &text);
		}
	}
}

static void page_line(struct paper *p, const char *word, const char *text)
{
	lines_puts(&p->pages, word);
	paper_field(p, text);
	lines_puts(&p->pages, "\n");
}

void paper_begin(struct paper *p, const struct paper_head *head)
{
	struct lines *h = &p->html;
	*p = (struct paper){.columns = 0};
	lines_printf(h, "<!DOCTYPE html>\n<html lang=\"%s\">\n<head>\n<meta charset=\"utf-8\">\n",
	             head->language);
	if (head->author) {
		lines_puts(h, "<meta name=\"author\" content=\"");
		paper_escape(h, head->author);
		lines_puts(h, "\">\n");
	}
	lines_puts(h, "<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; "
	           "style-src 'unsafe-inline'; script-src 'unsafe-inline'; img-src data:\">\n"
	           "<meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n"
	           "<link rel=\"icon\" href=\"data:,\">\n<title>");
	paper_escape(h, head->title);
	lines_printf(h, "</title>\n<style>%s</style>\n</head>\n<body>\n<main>\n", style);
	page_line(p, "tally-pages-1", head->size);
	page_line(p, "title", head->title);
	page_line(p, "lang", head->language);
	page_line(p, "author", head->author ? head->author : "");
	page_line(p, "about", head->about ? head->about : "");
	page_line(p, "foot", head->foot);
	page_line(p, "number", head->number);
}

void paper_end(struct paper *p, const struct paper_head *head)
{
	lines_puts(&p->html, "</main>\n<footer>");
	paper_escape(&p->html, head->foot);
	lines_printf(&p->html, "</footer>\n<script>%s</script>\n</body>\n</html>\n", script);
}

void paper_free(struct paper *p)
{
	lines_free(&p->html);
	lines_free(&p->pages);
	paper_kept_free(p);
}

void paper_heading(struct paper *p, int level, const char *id, const char *text)
{
	lines_printf(&p->html, "<h%d", level);
	if (id) {
		lines_puts(&p->html, " id=\"");
		paper_escape(&p->html, id);
		lines_puts(&p->html, "\"");
	}
	lines_puts(&p->html, ">");
	paper_escape(&p->html, text);
	lines_printf(&p->html, "</h%d>\n", level);
	page_line(p, level == 1 ? "h1" : level == 2 ? "h2" : "h3", text);
}

void paper_text(struct paper *p, enum paper_look look, const char *text)
{
	lines_puts(&p->html, "<p");
	if (look != PAPER_PLAIN)
		lines_printf(&p->html, " class=\"%s\"", paper_looks[look]);
	lines_puts(&p->html, ">");
	paper_html_lines(&p->html, text);
	lines_puts(&p->html, "</p>\n");
	lines_puts(&p->pages, "p\t");
	lines_puts(&p->pages, paper_looks[look]);
	paper_field(p, text);
	lines_puts(&p->pages, "\n");
}

void paper_screen(struct paper *p, const char *text)
{
	lines_puts(&p->html, "<p class=\"small screen\">");
	paper_html_lines(&p->html, text);
	lines_puts(&p->html, "</p>\n");
}

char *paper_format(struct paper *p, const char *format, va_list list)
{
	char *text;
	if (vasprintf(&text, format, list) >= 0)
		return text;
	p->html.failed = true;
	return NULL;
}

void paper_printf(struct paper *p, enum paper_look look, const char *format, ...)
{
	va_list list;
	va_start(list, format);
	char *text = paper_format(p, format, list);
	va_end(list);
	if (text)
		paper_text(p, look, text);
	free(text);
}

void paper_list_begin(struct paper *p)
{
	lines_puts(&p->html, "<ul>\n");
}

void paper_item(struct paper *p, const char *text)
{
	lines_puts(&p->html, "<li>");
	paper_html_lines(&p->html, text);
	lines_puts(&p->html, "</li>\n");
	page_line(p, "li", text);
}

void paper_item_marked(struct paper *p, const char *mark, const char *text)
{
	lines_puts(&p->html, "<li class=\"marked\"><span>");
	paper_escape(&p->html, mark);
	lines_puts(&p->html, " </span>");
	paper_html_lines(&p->html, text);
	lines_puts(&p->html, "</li>\n");
	lines_puts(&p->pages, "li");
	paper_field(p, text);
	paper_field(p, mark);
	lines_puts(&p->pages, "\n");
}

void paper_list_end(struct paper *p)
{
	lines_puts(&p->html, "</ul>\n");
}

void paper_facts_begin(struct paper *p)
{
	lines_puts(&p->html, "<dl class=\"facts\">\n");
}

void paper_fact(struct paper *p, const char *name, const char *value)
{
	if (!value[0])
		return;
	lines_puts(&p->html, "<div><dt>");
	paper_escape(&p->html, name);
	lines_puts(&p->html, "</dt><dd>");
	paper_html_lines(&p->html, value);
	lines_puts(&p->html, "</dd></div>\n");
	lines_puts(&p->pages, "fact");
	paper_field(p, name);
	paper_field(p, value);
	lines_puts(&p->pages, "\n");
}

void paper_facts_end(struct paper *p)
{
	lines_puts(&p->html, "</dl>\n");
}

void paper_picture(struct paper *p, int width, int height, const char *svg)
{
	lines_puts(&p->html, "<figure>");
	lines_puts(&p->html, svg);
	lines_puts(&p->html, "</figure>\n");
	lines_printf(&p->pages, "svg\t%d\t%d", width, height);
	paper_field(p, svg);
	lines_puts(&p->pages, "\n");
}

void paper_page(struct paper *p)
{
	lines_puts(&p->html, "<div class=\"page\"></div>\n");
	lines_puts(&p->pages, "page\n");
}

void paper_sheet_begin(struct paper *p)
{
	lines_puts(&p->html, "<section class=\"sheet\">\n");
	lines_puts(&p->pages, "sheet\n");
}

void paper_sheet_end(struct paper *p)
{
	lines_puts(&p->html, "</section>\n");
	lines_puts(&p->pages, "sheet-end\n");
}
