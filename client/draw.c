/* SPDX-License-Identifier: MIT */
/*
 * tally-draw: an SVG on standard input becomes a PNG or a PDF.
 *
 *     tally-draw FILE.png|FILE.pdf < PICTURE.svg
 *
 * A program of its own, so that the bench client is not linked to the libraries of drawing.
 * PNG at two dots a unit; PDF at its own size, with real text.  The file is written beside
 * its name first, so that there is never half of a picture.  Nothing that the SVG may refer
 * to is loaded: neither from the disk nor from a network.  Exit status: 0; 2 with one line
 * on standard error.
 */
#include <cairo-pdf.h>
#include <cairo.h>
#include <errno.h>
#include <librsvg/rsvg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#define INPUT_MAX (64u << 20)
#define PNG_SCALE 2.0
#define SIDE_MAX 30000.0 /* dots; cairo's own limit is 32767 */

static int fail(const char *what, const char *why)
{
	fprintf(stderr, "tally-draw: %s: %s\n", what, why);
	return 2;
}

static char *read_all(size_t *len)
{
	size_t size = 1 << 16;
	char *bytes = malloc(size);
	*len = 0;
	while (bytes) {
		size_t n = fread(bytes + *len, 1, size - *len, stdin);
		*len += n;
		if (n == 0)
			return bytes;
		if (*len == size) {
			char *more = size < INPUT_MAX ? realloc(bytes, size *= 2) : NULL;
			if (!more)
				break;
			bytes = more;
		}
	}
	free(bytes);
	return NULL;
}

static cairo_status_t render(RsvgHandle *svg, cairo_surface_t *surface, double scale, double width,
                             double height)
{
	GError *error = NULL;
	cairo_t *cr = cairo_create(surface);
	RsvgRectangle all = {0, 0, width, height};
	cairo_scale(cr, scale, scale);
	gboolean drawn = rsvg_handle_render_document(svg, cr, &all, &error);
	cairo_status_t status = cairo_status(cr);
	cairo_destroy(cr);
	if (!drawn) {
		fprintf(stderr, "tally-draw: %s\n", error ? error->message : "it cannot be drawn");
		g_clear_error(&error);
		return CAIRO_STATUS_READ_ERROR;
	}
	return status;
}

static cairo_status_t draw(RsvgHandle *svg, const char *file, bool pdf, double width, double height)
{
	cairo_status_t status;
	if (pdf) {
		/* One unit of the picture is a pixel of 1/96 inch, a point is 1/72. */
		cairo_surface_t *s = cairo_pdf_surface_create(file, width * 0.75, height * 0.75);
		status = render(svg, s, 0.75, width, height);
		cairo_surface_finish(s);
		if (status == CAIRO_STATUS_SUCCESS)
			status = cairo_surface_status(s);
		cairo_surface_destroy(s);
		return status;
	}
	cairo_surface_t *s = cairo_image_surface_create(CAIRO_FORMAT_RGB24, (int)(width * PNG_SCALE),
	                                                (int)(height * PNG_SCALE));
	status = render(svg, s, PNG_SCALE, width, height);
	if (status == CAIRO_STATUS_SUCCESS)
		status = cairo_surface_write_to_png(s, file);
	cairo_surface_destroy(s);
	return status;
}

int main(int argc, char **argv)
{
	const char *dot = argc == 2 ? strrchr(argv[1], '.') : NULL;
	bool pdf = dot && strcmp(dot, ".pdf") == 0;
	if (!dot || (!pdf && strcmp(dot, ".png") != 0))
		return fail("use", "tally-draw FILE.png|FILE.pdf < PICTURE.svg");
	size_t len;
	char *text = read_all(&len);
	if (!text)
		return fail("standard input", "more than 64 MiB, or no memory");
	GError *error = NULL;
	/* From memory and without a base: references to other files lead nowhere. */
	RsvgHandle *svg = rsvg_handle_new_from_data((const guint8 *)text, len, &error);
	free(text);
	if (!svg) {
		int status = fail("standard input", error ? error->message : "no SVG");
		g_clear_error(&error);
		return status;
	}
	double width = 0, height = 0;
	if (!rsvg_handle_get_intrinsic_size_in_pixels(svg, &width, &height) || !(width >= 1) ||
	    !(height >= 1) || width * PNG_SCALE > SIDE_MAX || height * PNG_SCALE > SIDE_MAX) {
		g_object_unref(svg);
		return fail("standard input", "the SVG has no size in pixels, or one that is too large");
	}
	char *part = malloc(strlen(argv[1]) + 16);
	if (!part)
		return fail(argv[1], "no memory");
	sprintf(part, "%s.part", argv[1]);
	/* cairo says no more than "write error": why, the system does. */
	FILE *probe = fopen(part, "w");
	if (!probe || fclose(probe) != 0) {
		int result = fail(argv[1], strerror(errno));
		g_object_unref(svg);
		free(part);
		return result;
	}
	cairo_status_t status = draw(svg, part, pdf, width, height);
	g_object_unref(svg);
	if (status == CAIRO_STATUS_SUCCESS && rename(part, argv[1]) == 0) {
		free(part);
		return 0;
	}
	int result = fail(argv[1], status ? cairo_status_to_string(status) : strerror(errno));
	unlink(part);
	free(part);
	return result;
}
